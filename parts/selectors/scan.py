"""Which part a scanned or typed code names."""

from django.db.models import Q

from parts.codes import number_in
from parts.models import Part
from shop.selectors import typed


def part_scanned(code: str) -> Part | None:
    """The part that a code names exactly: the QR code of our label, its number in any case, or a barcode that was given
    to it; with its stock. A number goes before a barcode. One query."""
    code = typed(code)
    labelled = number_in(code)
    parts = Part.objects.select_related("stock", "superseded_by")
    if not code:
        return None
    if labelled:
        return parts.filter(number__iexact=labelled).first()
    found = list(parts.filter(Q(number__iexact=code) | Q(barcodes__barcode=code)).distinct())
    by_number = [part for part in found if part.number.casefold() == code.casefold()]
    return next(iter([*by_number, *found]), None)
