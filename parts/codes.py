"""What stands in the QR code of a label of ours."""

_PREFIX = "TW-SHELF:"


def label_code(number: str) -> str:
    """The text that a label of the part carries."""
    return f"{_PREFIX}{number}"


def number_in(code: str) -> str:
    """The part number that a label's text names; '' for any other text."""
    return code[len(_PREFIX) :].strip() if code[: len(_PREFIX)].upper() == _PREFIX else ""
