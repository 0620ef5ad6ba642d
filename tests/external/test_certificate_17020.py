"""The contents of a certificate, read back from its PDF by an independent reader (pypdfium2), against published lists.

- ISO/IEC 17020:2012, 7.4.2 (mandatory): issuing body; unique identification and date of issue; dates of inspection;
  identification of the item; signature or other indication of approval by authorised personnel; a statement of
  conformity where applicable; the inspection results.
- Its optional list (annex B, from memory): title and page numbers; client; purpose, scope and omissions; method;
equipment; sampling; place; environmental conditions; information from the client; results for this item only; no
copying in part; who did the work. - 7.4.5 (from memory): a corrected certificate names the one that it replaces.
- ISO/IEC 17025:2017, 7.8.6 (from memory): the decision rule is said where conformity is.
"""

from dataclasses import replace

import pytest

from reports.document.content import Certificate
from reports.document.draw import draw
from tests.reports import sample
from tests.reports.test_draw import pages_of


@pytest.fixture(scope="module")
def content() -> Certificate:
    return sample.certificate(sample.results(sample.repaired()))


@pytest.fixture(scope="module")
def pages(content: Certificate) -> list[str]:
    return pages_of(draw(content).pdf)


@pytest.fixture(scope="module")
def words(pages: list[str]) -> str:
    return " ".join(pages)


MANDATORY = {
    "issuing body": "Verdeckwerk Halden Gerberstraße 14 40999 Halden",
    "unique number": "Certificate TW-2026-7K3M9QXZ-4",
    "date of issue": "issued 20 Nov 2026",
    "dates of inspection": "Inspected on 20 Nov 2026",
    "item: the car": "Car Arvel Corso T",
    "item: VIN": "VIN 0TWAB1CD2E3456789",
    "item: production month": "Production month Apr 2011",
    "item: top system": "Top system Retractable hardtop of three shells, hydraulic, revision 2",
    "approval": "Approval Marta Weiß, Owner approved this certificate TW-2026-7K3M9QXZ-4",
    "statement of conformity": "Overall result Fail The top does not meet its requirements.",
    "results: proof": "Proof matrix 15 of 15 sensors were seen both made and released",
    "results: motions": "Closing: stopped at: The stack swings up out of the trunk, lamp flashing",
    "results: readings": "BG8 XG1/B2 open 12.21 V 12.40 V finding",
    "results: work": "BG8 Shells stacked Replaced. Contact burnt Fitted: TW-BGD-3302, revision B Removed: TW-BGD-3302",
}

OPTIONAL = {
    "title": "Top inspection certificate",
    "page numbers": "Page 1 of",
    "client": "Client Łucja Őszi-Šimková",
    "purpose and scope": "Purpose and scope Inspection of the convertible top",
    "omissions": "Omitted Everything listed under “What was not tested”.",
    "method": "Method Readings at the control module",
    "equipment": "Instruments Digital multimeter of the shop; no calibration is claimed",
    "sampling": "Sampling None",
    "place": "Place Verdeckwerk Halden, Gerberstraße 14, 40999 Halden",
    "environment": "Surroundings Temperature and humidity were not recorded.",
    "information from the client": "Relied upon from the client Complaint: closing stops after the lid is up.",
    "this item only": "The results hold for this car only",
    "no copying in part": "may be copied only as a whole",
    "who did the work": "Inspected by Ines Okafor (Technician)",
    "decision rule": "Decision rule Measured values are decided after ILAC-G8:09/2019, 4.2.3",
}


@pytest.mark.parametrize("item", MANDATORY)
def test_17020_mandatory(words: str, item: str) -> None:
    assert MANDATORY[item] in words


@pytest.mark.parametrize("item", OPTIONAL)
def test_17020_optional(words: str, item: str) -> None:
    assert OPTIONAL[item] in words


def test_an_amended_certificate_names_the_earlier_one(content: Certificate) -> None:
    amended = " ".join(pages_of(draw(replace(content, replaces="TW-2026-11111111-1")).pdf))
    assert "replaces certificate TW-2026-11111111-1" in amended


def test_every_page_carries_the_number_and_the_end_is_marked(content: Certificate, pages: list[str]) -> None:
    """ISO/IEC 17025:2017, 7.8.2.1 d: identification on every part, and a clear end."""
    assert all(content.number in page for page in pages)
    assert f"End of certificate {content.number}." in pages[-1]


MUST_NOT_CLAIM = ("accredit", "will not fail", "guarantee", "roadworthy", "approved type", "qualified electronic")


@pytest.mark.parametrize("claim", MUST_NOT_CLAIM)
def test_what_it_must_not_claim(words: str, claim: str) -> None:
    """No accreditation or statutory standing, no promise about the future (common practice, no source)."""
    assert claim not in words.lower()


def test_one_state_alone_is_not_called_proven() -> None:
    top = sample.system()
    found = sample.results(sample.evidence_of([sample.pin(top, 0, "BG3", "closed")]))
    paper = " ".join(pages_of(draw(sample.certificate(found)).pdf))
    assert "BG3 Lid shut XG1/A3 seen not seen half proven" in paper
    assert "Overall result No statement" in paper
