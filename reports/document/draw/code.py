"""What a reader needs to check the paper: the code that leads to the public page, and the hash of the embedded data."""

from dataclasses import dataclass
from typing import Any

import segno
from reportlab.platypus import Flowable

from diagnostics.engine.words import _
from diagnostics.paper.kit import INK, SMALL, Flow, subheading, text
from reports.document.content import Certificate


@dataclass(frozen=True, slots=True)
class Proof:
    """`url`: the public page about this certificate; `data_sha256`: of the embedded data, hex."""

    url: str
    data_sha256: str


def data_name(number: str) -> str:
    """The name under which the data are embedded."""
    return f"{number}.json"


def checking(content: Certificate, proof: Proof) -> list[Flow]:
    words = _(
        "This file is signed electronically. Whoever receives it can check at {url} whether it is unchanged and still "
        "stands; a printed copy can be checked there by its number. What it says is embedded as data ({name}); "
        "SHA-256 of these data:"
    )
    return [
        *subheading(_("Checking this certificate")),
        text(words.format(url=proof.url, name=data_name(content.number)), SMALL),
        text(proof.data_sha256, SMALL),
    ]


class Code(Flowable):  # type: ignore[misc]
    """A QR code with its quiet zone, `side` points wide; runs of dark modules as one bar each, so none shows seams."""

    def __init__(self, words: str, side: float) -> None:
        super().__init__()
        self._rows = [list(row) for row in segno.make(words, micro=False, error="m").matrix_iter(border=4)]
        self.width = self.height = side

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas: Any = self.canv
        canvas.saveState()
        canvas.setFillColor(INK)
        module = self.width / len(self._rows)
        for down, row in enumerate(self._rows):
            begin = 0
            for at in range(1, len(row) + 1):
                if at < len(row) and row[at] == row[begin]:
                    continue
                if row[begin]:
                    low = self.height - (down + 1) * module
                    canvas.rect(begin * module, low, (at - begin) * module, module, stroke=0, fill=1)
                begin = at
        canvas.restoreState()
