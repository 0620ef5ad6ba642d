"""English certificates stay as they are, word for word: what is kept here was printed before other languages came.

Where a certificate is to say something new, `FREEZE=1 pytest tests/reports/test_english_stays.py` keeps the new words;
look at the difference before it is committed.
"""

import os
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from diagnostics.models import Check
from reports.document.content import Certificate
from reports.document.draw import draw
from reports.gather import certificate_content
from shop.models import Job, User
from tests.reports import many, sample
from tests.reports.test_draw import pages_of

KEPT = Path(__file__).parent / "frozen"


def held(name: str, words: str) -> None:
    path = KEPT / f"{name}.txt"
    if os.environ.get("FREEZE"):
        path.parent.mkdir(exist_ok=True)
        path.write_text(words, encoding="utf-8")
    assert words == path.read_text(encoding="utf-8")


@cache
def made() -> dict[str, Certificate]:
    return many.certificates()


@pytest.mark.parametrize("name", sorted(many.certificates()))
def test_a_certificate_on_paper(name: str) -> None:
    held(name, "\n\n".join(pages_of(draw(made()[name]).pdf)) + "\n")


def test_what_a_job_says(checked: Job, enter: Callable[..., Check], owner: User) -> None:
    """Everything that is composed from the rows of a job, a sentence a line."""
    enter(check="look", position="MM3", found="leaks")
    enter(check="pressure-hold", position="MM4", bar_start=120, bar_end=60, seconds=60)
    content = certificate_content(job=checked, number="", by=owner, issued_at=sample.START)
    found = content.results
    words = [
        content.purpose, content.method, content.decision_rule, content.outlook, content.overall.words,
        content.overall.rule, *content.cautions, *content.statements, *content.client_information,
        *(one.name for one in content.instruments), *(one.role for one in content.inspectors), content.approved_by.role,
        *(text for one in found.findings for text in (one.subject, one.words, one.rule)),
        *(text for one in found.not_tested for text in (one.what, one.why)),
        *(text for one in found.readings for text in (one.situation, one.reads, one.words)),
    ]  # fmt: skip
    held("job", "\n".join(words) + "\n")
