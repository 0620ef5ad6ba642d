"""What several views read from an address."""


def number_of(text: str) -> int:
    """A key from an address; 0, which no row has, for anything else."""
    return int(text) if text.isdecimal() and len(text) < 19 else 0
