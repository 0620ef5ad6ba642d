"""Words on paper are set without the library's reader of markup, and come out as if it had read them."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from reportlab.platypus import Paragraph

from diagnostics.paper.fonts import fonts_ready, markup
from diagnostics.paper.kit import BODY, CELL_RIGHT, HEAD, text

fonts_ready()


def as_set(paragraph: Paragraph) -> list[dict[str, object]]:
    return [vars(frag) for frag in paragraph.frags]


@given(st.text(), st.sampled_from([BODY, CELL_RIGHT, HEAD]))
@example("", BODY)
@example("two  spaces and\ta tab ", BODY)
@example("a < b & c", BODY)
@example("first\nsecond", HEAD)
@example("not\u00a0broken", BODY)
@example("שלום ■ é", BODY)
def test_they_are_what_the_reader_of_markup_makes_of_them(words, style):
    assert as_set(text(words, style)) == as_set(Paragraph(markup(words), style))


@pytest.mark.parametrize("narrow", [60, 110])
def test_a_paragraph_fits_each_width_that_it_is_asked_for(narrow):
    words = "The header latch was seen both made and released at the module. " * 4
    ours, theirs = text(words), Paragraph(words, BODY)
    for width in (400, 400, narrow, 400, narrow):
        assert ours.wrap(width, 800) == theirs.wrap(width, 800)
        assert len(ours.blPara.lines) == len(theirs.blPara.lines)
    assert [one.wrap(narrow, 800) for one in ours.split(narrow, 60)] == [
        one.wrap(narrow, 800) for one in theirs.split(narrow, 60)
    ]
    ours.wrap(narrow, 800)
    assert ours.blPara.lines  # splitting took them away
