"""A certificate on paper: frozen content in, the bytes of a PDF out. The same content gives the same bytes.

A4, embedded fonts, bookmarks, title, author and language. Not reached: the file is not tagged for screen readers, since
the library cannot; the words stand in reading order.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from reportlab.platypus import CondPageBreak

from diagnostics.engine.words import _
from diagnostics.paper.fonts import fonts_ready, lacks_letters
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import PAGE, Flow
from reports.document.content import Certificate, to_json
from reports.document.draw.ahead import what_may_fail
from reports.document.draw.closing import approval, cautions, end, how, not_tested
from reports.document.draw.code import Proof, checking, data_name
from reports.document.draw.first_page import first_page
from reports.document.draw.inspection import planned
from reports.document.draw.pictures import shown
from reports.document.draw.put_right import what_it_costs
from reports.document.draw.results import readings, results
from reports.document.languages import speaking_in

__all__ = ["VIN_END", "Drawn", "Proof", "data_name", "draw"]

VIN_END = 6
"""Characters of the VIN that stand at the foot of each page."""


@dataclass(frozen=True, slots=True)
class Drawn:
    pdf: bytes
    pages: int


def draw(content: Certificate, proof: Proof | None = None, pictures: Mapping[str, bytes] | None = None) -> Drawn:
    """Lay the certificate out in its language. Never fails on what the words are, however long or strange. Without
    `proof` nothing says where it can be checked: a draft. `pictures`: digest -> JPEG; one without a file is named and
    said to be missing. Raises LanguageError where nobody translates into its language any more."""
    fonts_ready()
    with speaking_in(content.language):
        return _drawn(content, proof, pictures or {})


def _drawn(content: Certificate, proof: Proof | None, pictures: Mapping[str, bytes]) -> Drawn:
    title = _("Top inspection certificate {number}").format(number=content.number)
    item = content.item
    paper = Paper(
        title=title,
        author=content.issuer.name,
        subject=f"{item.maker} {item.model}, …{item.vin[-VIN_END:]}",
        running=_("{number} · VIN …{end}").format(number=content.number, end=item.vin[-VIN_END:]),
        head=f"{content.issuer.name} · {title}",
        issued_at=content.issued_at,
    )
    pdf, pages = paper.made_of(_story(content, proof, pictures))
    return Drawn(pdf, pages)


def _story(content: Certificate, proof: Proof | None, pictures: Mapping[str, bytes]) -> list[Flow]:
    return [
        *first_page(content, proof),
        CondPageBreak(0.6 * PAGE[1]),  # a page of its own, unless its findings ran over to the next
        *planned(content),
        *results(content),
        *shown(content.pictures, pictures),
        *what_it_costs(content),
        *what_may_fail(content),
        *not_tested(content),
        *cautions(content),
        *how(content),
        *approval(content, lacks_letters(to_json(content))),
        *(checking(content, proof) if proof else ()),
        *readings(content),
        *end(content),
    ]
