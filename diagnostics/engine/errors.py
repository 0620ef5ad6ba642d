"""What the engine refuses."""


class CaseError(ValueError):
    """A case that cannot be: one clear sentence of what, where and what was expected."""
