"""The paper: fonts, bookmarks, page numbers, metadata, the same bytes again, and words of any kind."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, timedelta

import pypdfium2 as pdfium
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.paper.fonts import MISSING, lacks_letters, plain
from reports.document.compose import Worked
from reports.document.content import Certificate, Finding, Issuer, Observed, Results, WorkDone
from reports.document.draw import draw
from reports.document.draw.results import together
from tests.reports import sample


@contextmanager
def opened(pdf: bytes) -> Iterator[pdfium.PdfDocument]:
    document = pdfium.PdfDocument(pdf)
    try:
        yield document
    finally:
        document.close()


def pages_of(pdf: bytes) -> list[str]:
    """The words of each page, white space as single spaces."""
    with opened(pdf) as document:
        return [re.sub(r"\s+", " ", page.get_textpage().get_text_bounded()) for page in document]


@pytest.fixture(scope="module")
def content() -> Certificate:
    return sample.certificate(sample.results(sample.repaired(), struck_out=2))


@pytest.fixture(scope="module")
def pdf(content: Certificate) -> bytes:
    return draw(content).pdf


def test_first_page_answers_a_buyer(content: Certificate, pdf: bytes) -> None:
    first = pages_of(pdf)[0]
    for words in (
        content.number,
        content.issuer.name,
        content.client,
        content.item.vin,
        "Arvel Corso T",
        "118,420 km",
        "20 Nov 2026",
        "Overall result Fail",
        "15 of 15",
        "Closing, last trial: ran to its end",
        "Critical MM3 Stack cylinder, left Seen at MM3: leaks.",
        "Put right BG8 Shells stacked",
        f"({len(content.results.not_tested)} in all)",
        content.outlook,
        "It is no roadworthiness certificate.",
        "Marta Weiß (Owner)",
    ):
        assert words in first


def test_numbers_on_paper_are_those_of_the_content(content: Certificate, pdf: bytes) -> None:
    words = " ".join(pages_of(pdf))
    found = content.results
    for row in found.limits:
        if row.unit == "s":
            assert f"{row.value:.1f} s" in words
        else:
            assert f"{row.subject} {100 * row.value:.1f} % ± {100 * row.uncertainty:.1f} %" in words
    for row in found.proof:
        assert f"{row.position} {row.name}" in words
        assert row.pin in words
    for one in found.readings:
        assert f"{one.volts:.2f} V {one.supply_volts:.2f} V" in words
    for one in found.not_tested:
        assert one.what in words
    assert words.count("with a reason each: 2.") == 1


def test_every_page_has_number_vin_end_and_page_of_pages(content: Certificate, pdf: bytes) -> None:
    pages = pages_of(pdf)
    for at, words in enumerate(pages, start=1):
        assert f"{content.number} · VIN …{content.item.vin[-6:]}" in words
        assert f"Page {at} of {len(pages)}" in words
    assert draw(content).pages == len(pages)
    assert f"End of certificate {content.number}." in pages[-1]


def test_bookmarks_lead_to_their_pages(pdf: bytes) -> None:
    pages = pages_of(pdf)
    with opened(pdf) as document:
        marks = [(mark.get_title(), mark.get_dest().get_index()) for mark in document.get_toc()]
    titles = [title for title, _page in marks]
    for title in ("What was found", "Proof matrix", "Motions and their times", "What was not tested", "Cautions"):
        assert title in titles
    for title, page in marks:
        assert title in pages[page]


def test_metadata(content: Certificate, pdf: bytes) -> None:
    with opened(pdf) as document:
        meta = document.get_metadata_dict()
    assert meta["Title"] == f"Top inspection certificate {content.number}"
    assert meta["Author"] == content.issuer.name
    assert meta["CreationDate"].startswith("D:20261120163000")
    assert b"/Lang (en)" in pdf
    assert b"/DisplayDocTitle true" in pdf


def test_all_fonts_are_embedded(pdf: bytes) -> None:
    """Each font is a subset of ours with its font file; none of the fourteen that readers bring themselves."""
    fonts = set(re.findall(rb"/BaseFont /(\S+)", pdf))
    assert {name.split(b"+")[-1] for name in fonts} == {b"SourceSansPro-Regular", b"SourceSansPro-Semibold"}
    assert pdf.count(b"/FontFile2") == 2


def test_the_same_content_gives_the_same_bytes(content: Certificate, pdf: bytes) -> None:
    assert draw(content).pdf == pdf
    assert draw(replace(content, client="Another")).pdf != pdf


def test_replacing_is_said(content: Certificate) -> None:
    first = pages_of(draw(replace(content, replaces="TW-2026-11111111-1")).pdf)[0]
    assert "replaces certificate TW-2026-11111111-1, which is no longer valid" in first


def test_letters_that_the_typeface_lacks_are_said(content: Certificate, pdf: bytes) -> None:
    assert (
        plain("Łucja Őszi Žofie Þór Ångström Жанна Ωμέγα ½ µ ≤ →")
        == "Łucja Őszi Žofie Þór Ångström Жанна Ωμέγα ½ µ ≤ →"
    )
    assert plain("שלום") == MISSING * 4
    assert plain("a\x00b\u202ec\ud800") == "abc"
    assert plain("ﬁ①") == "ﬁ1"
    assert lacks_letters("山")
    assert not lacks_letters("Łódź ■")
    strange = draw(replace(content, client="山田")).pdf
    assert f"{MISSING}{MISSING}" in pages_of(strange)[0]
    assert any("stands for a letter that the typeface" in words for words in pages_of(strange))
    assert not any("stands for a letter" in words for words in pages_of(pdf))


WORDS = st.one_of(
    st.text(max_size=300),
    st.sampled_from(
        ["<b", "<b>x</i>&amp;&", "</para>", "<br/>" * 50, "W" * 4000, "ل" * 200, "a " * 3000, "\n" * 300, "{0} %s"]
    ),
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.data())
def test_no_words_break_the_paper(data: st.DataObject) -> None:
    """Markup, very long names without a space, other writing directions, control characters: drawn, never an error."""
    word = lambda: data.draw(WORDS)  # noqa: E731
    base = sample.certificate(Results())
    when, day = base.issued_at, base.issued_at
    found = Results(
        findings=(Finding("major", word(), word(), word(), word()),),
        observed=(
            Observed("electrical", word(), word(), word(), "finding", when, word()),
            Observed("hydraulics", word(), word(), word(), word(), when, word()),
        ),
        work=(WorkDone(word(), word(), word(), word(), day, word(), word(), word(), (word(),)),),
    )
    strange = replace(
        base,
        issuer=Issuer(word(), word(), word(), word()),
        client=word(),
        job=word(),
        item=replace(base.item, maker=word(), model=word(), system_title=word()),
        place=word(),
        purpose=word(),
        client_information=(word(), word()),
        approved_by=replace(base.approved_by, name=word()),
        results=found,
    )
    drawn = draw(strange)
    assert len(pages_of(drawn.pdf)) == drawn.pages >= 2


def test_an_empty_certificate_is_drawn() -> None:
    """No results at all, as of an undeclared system: each part says that it has nothing."""
    words = " ".join(pages_of(draw(sample.certificate(Results())).pdf))
    assert "Nothing, in what was tested." in words
    assert "No motion was tried." in words


def test_a_car_known_by_its_year_alone_is_given_no_month(content: Certificate) -> None:
    item = replace(content.item, made_on=date(2011, 1, 1), year_only=True)
    told = pages_of(draw(replace(content, item=item)).pdf)[0]
    assert re.search(r"Production year\s+2011\b", told)
    assert "Jan 2011" not in told


def test_whole_trials_of_a_motion_stand_beside_each_other_and_others_by_themselves() -> None:
    top = sample.system()
    checks = [sample.trial(top, minute, "open") for minute in (0, 10, 20, 30)]
    checks += [sample.trial(top, 5, "close"), sample.trial(top, 15, "close", stops_at="raise-stack")]
    checks += [sample.trial(top, 25, "close", slow=1.3), sample.trial(top, 50, "close")]
    work = Worked("BG8", "Replaced", "", sample.START + timedelta(minutes=40), "Ines Okafor")
    found = sample.results(sample.evidence_of(checks, [work]))
    groups = [(trials[0].motion, [one.ran for one in trials]) for trials in together(found)]
    assert groups == [
        ("open", [True, True, True]),
        ("close", [True]),
        ("close", [False]),
        ("close", [True]),
        ("open", [True]),
        ("close", [True]),
    ]
    assert sum(len(trials) for trials in together(found)) == len(found.trials)


def test_the_longest_of_three_times_is_decided_and_all_three_are_printed() -> None:
    top = sample.system()
    checks = [sample.trial(top, minute, "open", slow=slow) for minute, slow in ((0, 1.0), (10, 4.0), (20, 1.1))]
    found = sample.results(sample.evidence_of(checks))
    text = " ".join(" ".join(pages_of(draw(sample.certificate(found)).pdf)).split())
    assert "Opening: ran to its end 3 times" in text
    last = [trial.steps[-1] for trial in found.trials]
    row = text[text.rindex(last[0].title) :]
    assert row.startswith(f"{last[0].title} {last[0].seconds:.1f} s {last[1].seconds:.1f} s {last[2].seconds:.1f} s")
    assert last[1].outcome == "fail"
    assert row[:120].count("Fail") == 1
