"""What is taken back stays readable: when, by whom and why stand together or not at all."""

from django.db.models import CheckConstraint, Q


def taken_back_says_why(verb: str, why: str, *, name: str) -> CheckConstraint:
    """Of the fields `<verb>_at` and `<verb>_by`, which may be null, and the text `why`."""
    at, by = f"{verb}_at__isnull", f"{verb}_by__isnull"
    nothing, whole = Q(**{at: True, by: True, why: ""}), Q(**{at: False, by: False}) & ~Q(**{why: ""})
    return CheckConstraint(condition=nothing | whole, name=name)
