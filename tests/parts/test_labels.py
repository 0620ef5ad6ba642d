"""Labels for the shelf, read back from the paper by readers that are not ours."""

from collections.abc import Callable

import pypdfium2 as pdfium
import pytest
import zxingcpp
from django.test import Client
from django.urls import reverse
from PIL import Image

from parts.codes import number_in
from parts.labels import MOST, ON_A_SHEET, Label, sheets
from shop.models import User
from tests.parts.shelving import a_part

MM = 72 / 25.4
DPI = 200
LONG = Label("TW-" + "W" * 36 + "-9", "Hose, high pressure, " * 8, "Cellar, third row, left", "GP1 MM1 " * 30)


def _label(number: str) -> Label:
    return Label(number, "Switch: header latch", "B2", "BG1 BG2 Two-seater soft top")


def _pages(pdf: bytes) -> list[Image.Image]:
    return [page.render(scale=DPI / 72).to_pil() for page in pdfium.PdfDocument(pdf)]


def _codes(picture: Image.Image) -> list[tuple[str, int, int]]:
    """What a QR reader sees: the text and the place, row and column, of the label that it is on."""
    found = []
    for code in zxingcpp.read_barcodes(picture):
        x, y = (at / DPI * 25.4 for at in (code.position.top_left.x, code.position.top_left.y))
        found.append((number_in(code.text), int(y // 37), int(x // 70)))
    return sorted(found, key=lambda one: one[1:])


def test_every_label_of_a_sheet_is_read_in_its_place() -> None:
    numbers = [f"TW-BGA-{n:04d}" for n in range(ON_A_SHEET)]
    (page,) = _pages(sheets([_label(number) for number in numbers], title="Labels"))
    assert _codes(page) == [(number, *divmod(at, 3)) for at, number in enumerate(numbers)]


def test_a_sheet_that_was_begun_is_used_up_and_the_next_begins_at_its_top() -> None:
    first, second = _pages(sheets([_label(f"TW-{n}") for n in range(3)], title="Labels", start=23))
    assert _codes(first) == [("TW-0", 7, 1), ("TW-1", 7, 2)]
    assert _codes(second) == [("TW-2", 0, 0)]


def test_the_longest_words_stay_on_their_label() -> None:
    pdf = pdfium.PdfDocument(sheets([LONG, LONG], title="Labels"))
    words = pdf[0].get_textpage()
    assert LONG.place in words.get_text_bounded()
    for at in range(words.count_rects()):
        left, bottom, right, _top = words.get_rect(at)
        column = int(left // (70 * MM))
        assert right <= (column + 1) * 70 * MM - 4 * MM
        assert bottom >= pdf[0].get_height() - (0.5 + 37) * MM
    assert [code[0] for code in _codes(pdf[0].render(scale=DPI / 72).to_pil())] == [LONG.number] * 2


def test_a_sheet_is_of_a4() -> None:
    assert pdfium.PdfDocument(sheets([_label("TW-1")], title="x"))[0].get_size() == pytest.approx(
        (595.3, 841.9), abs=0.1
    )


@pytest.mark.parametrize(("wanted", "start"), [(0, 1), (MOST + 1, 1), (1, 0), (1, ON_A_SHEET + 1)])
def test_what_no_sheet_has_is_refused(wanted: int, start: int) -> None:
    with pytest.raises(ValueError, match="expected 1 to"):
        sheets([_label("TW-1")] * wanted, title="x", start=start)


class TestPage:
    def test_chosen_parts_and_copies(self, parts_user: User, client_as: Callable[[str], Client]) -> None:
        seal, oil = a_part(parts_user, "TW-SEA-0001", place="B2"), a_part(parts_user, "TW-OIL-0001")
        client, address = client_as("technician"), reverse("parts:labels")
        assert f'name="copies-{seal.pk}" value="1"' in client.get(address, {"part": seal.number}).text
        sent = {"print": "1", f"copies-{seal.pk}": "2", f"copies-{oil.pk}": "1", "start": "2"}
        answer = client.get(address, sent)
        assert answer["Content-Type"] == "application/pdf"
        (page,) = _pages(answer.content)
        assert _codes(page) == [("TW-OIL-0001", 0, 1), ("TW-SEA-0001", 0, 2), ("TW-SEA-0001", 1, 0)]

    @pytest.mark.parametrize(
        ("copies", "start", "words"),
        [
            ("0", "1", "how many"),
            ("481", "1", "at most 480"),
            ("1", "25", "a place from 1 to 24"),
            ("x", "1", "how many"),
        ],
    )
    def test_what_cannot_be_printed_is_said(
        self, parts_user: User, client_as: Callable[[str], Client], copies: str, start: str, words: str
    ) -> None:
        part = a_part(parts_user, "TW-SEA-0001")
        sent = {"print": "1", f"copies-{part.pk}": copies, "start": start}
        answer = client_as("parts").get(reverse("parts:labels"), sent)
        assert answer.status_code == 422
        assert words in answer.text
