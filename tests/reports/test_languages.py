"""A certificate in German: all of it, on paper, as data and in what programs read of the file; nobody else hears it."""

import ast
import asyncio
import json
import re
import threading
import uuid
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from string import Formatter
from typing import Any

import pikepdf
import pikepdf.pdfa
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Table

from diagnostics import selectors as bench
from diagnostics import services as bench_services
from diagnostics.engine.words import _, _n, number, speaking, spoken
from diagnostics.models import Check
from diagnostics.paper import kit
from diagnostics.paper.fonts import fonts_ready
from diagnostics.paper.kit import day, moment, month
from diagnostics.paper.marks import SMALLEST, Tag
from reports import services
from reports.document.content import Certificate, Instrument, Person, fingerprint, from_json, to_json
from reports.document.draw import draw
from reports.document.languages import LanguageError, catalogue, languages, speaking_in, tongue
from reports.document.po import entries
from reports.gather import certificate_content
from reports.models import Certificate as Row
from reports.models import CertificateState
from reports.sealing import paper
from reports.tasks import certificate_issue_task
from shop.errors import ShopError
from shop.models import Job, User
from tests.reports import many, sample
from tests.reports.test_draw import opened, pages_of

ROOT = Path(__file__).parents[2]
TYPED = ("Łucja Őszi-Šimková", "Ines Okafor", "Marta Weiß", "Verdeckwerk Halden", "Contact burnt", "a scratch")
NAMES = ("Bracket", "Some switch", "Motor", "Gauge", "Multimeter", "Replaced")


@cache
def german() -> dict[str, Certificate]:
    """The certificates of `many`, with nothing in them that their maker typed in English."""
    with speaking_in("de"):
        made = many.certificates()
    return {
        name: replace(
            one, language="de", job="J1: –", purpose="–", method="–", cautions=(), statements=("–",),
            client_information=(), instruments=(Instrument("–"),), inspectors=(Person("Ines Okafor", ""),),
            approved_by=Person("Marta Weiß", ""), outlook="–" if "No outlook" in one.outlook else one.outlook,
        )
        for name, one in made.items()
    }  # fmt: skip


@cache
def printed(name: str) -> str:
    return " ".join(pages_of(draw(german()[name]).pdf))


def bare(words: str, names: set[str]) -> str:
    """`words` without what the top system declares and people typed."""
    for name in sorted({*names, *TYPED, *NAMES}, key=len, reverse=True):
        words = words.replace(re.sub(r"\s+", " ", name), " ")
    return words


def declared() -> set[str]:
    """Everything that the shipped systems call by name."""
    found: set[str] = set()
    for slug in many.SLUGS:
        top = sample.system(slug)
        found |= {top.title, *(one.name for one in top.positions.values()), *(one.title for one in top.axes.values())}
        found |= {name.replace("-", " ") for name in (*top.poses, *top.axes)} | set(top.poses)
        found |= {place.replace("-", " ") for one in top.axes.values() for place in one.places}
        for motion in top.motions.values():
            found |= {motion.title, *(step.title for step in motion.steps)}
        if top.inspection is not None:
            found |= {words for one in top.inspection.extra.values() for words in (one.title, one.wants)}
    return found


def all_sentences() -> Iterator[str]:
    """Every sentence that is marked anywhere in the code that a certificate may come from, declared as such or not."""
    for app in ("diagnostics", "reports", "shop"):
        for path in (ROOT / app).rglob("*.py"):
            for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(call, ast.Call) and getattr(call.func, "id", "") in ("_", "_n", "marked"):
                    yield from (one.value for one in call.args if isinstance(getattr(one, "value", None), str))


def longest_piece(sentence: str) -> str:
    """The longest stretch of a sentence without a gap."""
    try:
        return max((words for words, *_gap in Formatter().parse(sentence)), key=len, default="").strip()
    except ValueError:
        return sentence.strip()


PIECES = sorted({piece for one in all_sentences() if len((piece := longest_piece(one)).split()) > 3} - {"U (k = 2)"})
GERMAN = {entry.text: entry.forms[0] for entry in entries(catalogue("de").read_text(encoding="utf-8"))}
SHORT = sorted(one for one, said in GERMAN.items() if one.isalpha() and one not in " ".join(GERMAN.values()))
# The commonest words of English that are no German words as well.
ENGLISH = re.compile(r"\b(?:the|of|and|is|are|were|not|with|by|no|at|from|this|that|it|for|to|one|read|seen)\b")


@pytest.mark.parametrize("name", sorted(german()))
class TestNothingEnglishIsLeft:
    def test_no_sentence(self, name: str) -> None:
        words = printed(name)
        assert [one for one in PIECES if re.sub(r"\s+", " ", one) in words] == []

    def test_no_word(self, name: str) -> None:
        words = bare(printed(name), declared())
        assert sorted({words[max(0, at.start() - 30) : at.end() + 20] for at in ENGLISH.finditer(words)}) == []

    def test_no_single_word(self, name: str) -> None:
        """Such as a state or a lamp that a sentence was given as the code has it."""
        words = bare(printed(name), declared())
        assert [one for one in SHORT if re.search(rf"(?<!\w){re.escape(one)}(?!\w)", words)] == []

    def test_no_point_in_a_number(self, name: str) -> None:
        """But in thousands, in the number of a clause, and in what programs and people call things."""
        words = re.sub(r"\d{1,3}(?:\.\d{3})+(?:,\d+)?|4\.2\.3|XG\d\.\d", " ", printed(name))
        assert re.findall(r".{20}\d\.\d.{20}", words) == []


def test_the_first_page_is_that_of_an_expert() -> None:
    words = printed("repaired")
    for told in (
        "Prüfbescheinigung Verdeck",
        "ersetzt die Prüfbescheinigung TW-2026-11111111-1, die nicht mehr gilt",
        "118.420 km (20. Nov. 2026)",
        "Baumonat Apr. 2011",
        "Gesamtergebnis Nicht bestanden",
        "Kritisch MM3 Stack cylinder, left Gesehen an MM3: undicht.",
        "Behoben BG8 Shells stacked",
        "erweiterten Messunsicherheit U (k = 2)",
        "Seite 1 von",
    ):
        assert told in words


def test_the_statement_and_the_weights_are_the_same_in_both_languages() -> None:
    english = many.certificates()
    for name, one in german().items():
        both = one, english[name]
        assert len({made.overall.statement for made in both}) == 1
        first, second = ([(found.weight, found.position) for found in made.results.findings] for made in both)
        assert first == second


@pytest.mark.parametrize(
    ("found", "weight"),
    [
        ("leaks", "critical"),
        ("leaking at the rod", "critical"),
        ("Zylinder ist UNDICHT", "critical"),
        ("Leckage an der Stange", "critical"),
        ("tropft", "critical"),
        ("Kratzer", "minor"),
    ],
)
@pytest.mark.parametrize("language", ["en", "de"])
def test_a_leak_is_critical_in_whatever_language_it_was_entered(found: str, weight: str, language: str) -> None:
    with speaking_in(language):
        results = sample.results(
            sample.evidence_of([sample.seen(sample.system(), 0, check="look", position="MM3", found=found)])
        )
    assert [one.weight for one in results.findings] == [weight]


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return paper(german()["repaired"], {}).pdf


class TestTheFile:
    def test_programs_are_told_the_language(self, pdf: bytes) -> None:
        with pikepdf.open(BytesIO(pdf)) as file:
            assert file.Root.Lang == "de"
            assert file.docinfo.Title == "Prüfbescheinigung Verdeck TW-2026-7K3M9QXZ-4"
            meta = file.open_metadata()
            assert meta["dc:language"] == {"de"}
            assert meta["dc:title"] == "Prüfbescheinigung Verdeck TW-2026-7K3M9QXZ-4"
            (data,) = file.attachments.values()
            assert json.loads(data.get_file().read_bytes())["language"] == "de"
            assert data.description == "Der Inhalt dieser Bescheinigung als Daten"

    def test_english_is_told_as_well(self) -> None:
        with pikepdf.open(BytesIO(paper(many.certificates()["repaired"], {}).pdf)) as file:
            assert file.Root.Lang == "en"
            assert file.open_metadata()["dc:language"] == {"en"}

    def test_it_is_a_file_for_the_archive(self, pdf: bytes) -> None:
        with pikepdf.open(BytesIO(pdf)) as file:
            assert [one.rule for one in pikepdf.pdfa.check(file, "3b").findings] == []

    def test_bookmarks_are_german(self, pdf: bytes) -> None:
        with opened(pdf) as document:
            titles = [mark.get_title() for mark in document.get_toc()]
        assert titles[:3] == ["Was geprüft wurde", "Was festgestellt wurde", "Was ausgelassen wurde"]


class TestFingerprint:
    def test_that_of_english_is_what_it_was_before_there_were_languages(self) -> None:
        content = many.certificates()["repaired"]
        told = json.loads(to_json(content))
        assert told["language"] == "en"
        without = to_json(content).replace('"language":"en",', "")
        assert "language" not in without
        assert from_json(without) == content, "what was kept before is English"
        blank = replace(
            content, number="", issued_at=datetime(2000, 1, 1, tzinfo=UTC), approved_by=Person("", ""), outlook="",
            ahead=None, put_right=None, replaces="",
        )  # fmt: skip
        before = to_json(blank).replace('"language":"en",', "")
        assert fingerprint(content, "") == sha256(before.encode()).hexdigest()

    def test_another_language_is_another_certificate(self) -> None:
        content = many.certificates()["bare"]
        assert fingerprint(replace(content, language="de"), "") != fingerprint(content, "")


class TestWhoSpeaks:
    def test_nothing_is_spoken_outside(self) -> None:
        with speaking_in("de"):
            assert (spoken(), _("Battery")) == ("de", "Batterie")
            with speaking_in("en"):
                assert (spoken(), _("Battery")) == ("en", "Battery")
            assert _("Battery") == "Batterie"
        assert (spoken(), _("Battery")) == ("", "Battery")

    def test_an_error_ends_it_too(self) -> None:
        with pytest.raises(RuntimeError), speaking_in("de"):
            raise RuntimeError
        assert spoken() == ""

    def test_two_threads_at_once_each_speak_their_own(self) -> None:
        wanted = {code: to_json(many.certificates()["passed"]) if code == "en" else "" for code in ("en", "de")}
        with speaking_in("de"):
            wanted["de"] = to_json(many.certificates()["passed"])
        assert wanted["en"] != wanted["de"]
        together, made = threading.Barrier(4), []

        def make(code: str) -> None:
            with speaking_in(code):
                together.wait()
                made.append((code, to_json(many.certificates()["passed"])))

        threads = [threading.Thread(target=make, args=(code,)) for code in ("en", "de", "en", "de")]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(made) == sorted([*wanted.items()] * 2)

    def test_tasks_that_take_turns_each_speak_their_own(self) -> None:
        async def make(code: str) -> list[str]:
            said = []
            with speaking_in(code):
                for _turn in range(5):
                    said.append(_("Battery"))
                    await asyncio.sleep(0)
            return said

        async def both() -> list[list[str]]:
            return await asyncio.gather(make("de"), make("en"))

        assert asyncio.run(both()) == [["Batterie"] * 5, ["Battery"] * 5]


class TestNumbersDaysAndCounts:
    def test_numbers(self) -> None:
        assert number(1234.5, ",.2f") == "1,234.50"
        with speaking_in("de"):
            assert number(1234.5, ",.2f") == "1.234,50"
            assert number(Decimal("0.75"), "f") == "0,75"
            assert number(118420, ",") == "118.420"

    def test_numbers_within_a_sentence(self) -> None:
        words = "{volts} V at {share:.1f} % of {code}, {hours} h, {n}"
        named = {"volts": 0.12, "share": 98.26, "code": "XG1.4", "hours": Decimal("1.50"), "n": 3}
        with speaking_in("de"):
            assert _(words).format(**named) == "0,12 V at 98,3 % of XG1.4, 1,50 h, 3"
            assert (" " + _(words) + " 1.5").format(**named) == " 0,12 V at 98,3 % of XG1.4, 1,50 h, 3 1.5"
        assert _(words).format(**named) == "0.12 V at 98.3 % of XG1.4, 1.50 h, 3"

    @given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from([".2f", "g", ",.1f", ""]))
    def test_a_number_loses_nothing(self, value: float, spec: str) -> None:
        with speaking_in("de"):
            said = number(value, spec)
        assert said.translate({ord(","): ".", ord("."): ","}) == format(value, spec)

    def test_days(self) -> None:
        at = datetime(2026, 3, 5, 14, 7)  # noqa: DTZ001 - a day on paper
        assert (day(at), moment(at), month(date(2011, 5, 1))) == ("5 Mar 2026", "5 Mar 2026, 14:07", "May 2011")
        with speaking_in("de"):
            assert (day(at), moment(at), month(date(2011, 5, 1))) == ("5. März 2026", "5. März 2026, 14:07", "Mai 2011")

    def test_counts(self) -> None:
        steps = "{count} step from left to right.", "{count} steps from left to right."
        assert [_n(*steps, n).format(count=n) for n in (1, 2)] == [
            "1 step from left to right.",
            "2 steps from left to right.",
        ]
        with speaking_in("de"):
            assert _n(*steps, 1).format(count=1) == "Ein Schritt, von links nach rechts."
            assert _n(*steps, 0).format(count=0) == "0 Schritte von links nach rechts."

    def test_what_nobody_translated_is_said_in_english(self) -> None:
        with speaking(replace(tongue("de"), words={})):
            assert _("Battery") == "Battery"
            assert _n("a step", "steps", 2) == "steps"


def test_an_unknown_language_is_one_sentence() -> None:
    with pytest.raises(LanguageError, match=r"^There is no certificate in the language “xx”; expected one of: en, de"):
        speaking_in("xx")
    with pytest.raises(LanguageError):
        speaking_in("../../de")
    with pytest.raises(LanguageError):
        draw(replace(many.certificates()["bare"], language="xx"))


@pytest.mark.parametrize("code", sorted(languages()))
def test_no_word_at_the_head_of_a_column_is_broken(code: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor is a state set so small that nobody reads it."""
    drawn: list[tuple[Any, list[float]]] = []

    def spied(rows: Any, *, colWidths: list[float], **more: Any) -> Any:  # noqa: N803 - reportlab's name
        if more.get("repeatRows"):
            drawn.append((rows, colWidths))
        return Table(rows, colWidths=colWidths, **more)

    monkeypatch.setattr(kit, "Table", spied)
    with speaking_in(code):
        made = many.certificates()
    for one in made.values():
        draw(replace(one, language=code))
    assert len(drawn) > 50
    for rows, widths in drawn:
        for cell, width in zip(rows[0], widths, strict=True):
            if not isinstance(cell, list):
                for word in cell.text.split():
                    style = cell.style
                    assert stringWidth(word, style.fontName, style.fontSize) <= width - PADDED[style.name], word
        for row in rows[1:]:
            for cell in row:
                for tag in cell if isinstance(cell, list) else [cell]:
                    assert not isinstance(tag, Tag) or tag.shown >= 0.8 * tag.size, tag.words


PADDED = {"head": 6, "head-right": 12}
"""Points between two columns, by the style of their heads (kit.table)."""


def test_a_long_state_is_set_smaller_to_fit_its_column() -> None:
    fonts_ready()
    tag = Tag("diamond-open", "Bedingt nicht bestanden")
    tag.wrap(400, 20)
    assert tag.shown == tag.size
    whole = tag.width
    tag.wrap(whole * 0.8, 20)
    assert tag.shown == pytest.approx(tag.size * 0.8)
    tag.wrap(1, 20)
    assert tag.shown == tag.size * SMALLEST


def issued(job: Job, by: User, language: str = "") -> Row:
    certificate, run = services.certificate_freeze(job=job, by=by, language=language)
    if certificate.state == CertificateState.ISSUING:
        assert run is not None
        certificate_issue_task(str(run.pk), certificate.pk)
        certificate.refresh_from_db()
    return certificate


def text_of(certificate: Row) -> str:
    return " ".join(pages_of(Path(certificate.file.path).read_bytes()))


class TestAJob:
    def test_everything_that_is_composed_from_its_rows_is_german(
        self, checked: Job, enter: Callable[..., Check], owner: User
    ) -> None:
        enter(check="look", position="MM3", found="leaks")
        enter(check="pressure-hold", position="MM4", bar_start=120, bar_end=60, seconds=60)
        bench_services.work_add(job=checked, by=owner, position="BG3", kind="adjust")
        bench_services.work_add(
            job=checked, by=owner, position="BG8", kind="replace", part="TW-BGD-3302", revision="B", serial="S7"
        )
        words = text_of(issued(checked, owner, "de"))
        assert "sind nicht übersetzt." in words
        assert "Beanstandung, in den Worten des Auftraggebers" in words
        assert "Auslöser eingestellt durch owner" in words
        assert "Ersetzt Eingebaut: TW-BGD-3302, Revision B, Seriennummer S7" in words
        assert "Bearbeitet und danach nicht nachgewiesen. Messen Sie den Pin geschaltet und nicht geschaltet." in words
        assert "Möglicher Fehler: " in words
        assert "owner (Betriebsleitung)" in words
        assert [one for one in PIECES if re.sub(r"\s+", " ", one) in words] == []
        left = bare(words, declared() | {checked.title, checked.complaint, checked.car.model, checked.car.maker})
        left = re.sub(r"https?://\S+", " ", left)
        assert [left[max(0, at.start() - 30) : at.end() + 20] for at in ENGLISH.finditer(left)] == []

    def test_readings_without_a_system_are_judged_anew(self, job: Job, shop_profile: Any, tech: User) -> None:
        sheet = bench_services.sheet_open(job=job, by=tech)
        reading = {"check": "pin", "connector": "XG1", "number": 4, "volts": 0.12, "supply_volts": 12.4}
        bench_services.check_add(sheet=sheet, by=tech, observation=reading, entry_id=uuid.uuid4())
        told = [
            certificate_content(job=job, number="", by=tech, issued_at=sample.START, language=code).results.observed
            for code in ("en", "de")
        ]
        assert told[0][0].words == Check.objects.get().words
        assert told[1][0].words.startswith("XG1/4: 0,12 V, 1 % der Versorgungsspannung.")

    def test_another_language_replaces_and_asking_again_does_not(self, checked: Job, owner: User) -> None:
        english = issued(checked, owner)
        german = issued(checked, owner, "de")
        assert (english.content["language"], german.content["language"]) == ("en", "de")
        assert german.replaces == english
        english.refresh_from_db()
        assert english.state == CertificateState.REPLACED
        assert issued(checked, owner) == issued(checked, owner, "de") == german, "the language of the one that stands"
        back = issued(checked, owner, "en")
        assert (back.replaces, back.content["language"]) == (german, "en")

    def test_asking_again_while_it_is_being_made_asks_for_the_same(self, checked: Job, owner: User) -> None:
        issued(checked, owner)
        first, _run = services.certificate_freeze(job=checked, by=owner, language="de")
        again, _run = services.certificate_freeze(job=checked, by=owner)
        assert again == first

    def test_the_shop_chooses_the_language_of_a_first_one(self, checked: Job, owner: User, settings: Any) -> None:
        settings.CERTIFICATE_LANGUAGE = "de"
        assert issued(checked, owner).content["language"] == "de"

    def test_an_unknown_language_writes_nothing(self, checked: Job, owner: User) -> None:
        with pytest.raises(ShopError, match="no certificate in the language “xx”"):
            services.certificate_ask(job=checked, by=owner, language="xx")
        assert not Row.objects.exists()

    def test_what_is_wrong_is_said_in_the_language_of_the_screen(self, job: Job, sheet: Any, owner: User) -> None:
        with pytest.raises(ShopError, match="Nothing has been inspected"):
            services.certificate_ask(job=job, by=owner, language="de")

    def test_the_suspects_on_the_screen_stay_as_they_are(self, checked: Job, owner: User, sheet: Any) -> None:
        issued(checked, owner, "de")
        found = bench.diagnosis_of_sheet(sheet)
        assert found is not None
        assert any("never makes" in one.words for one in found.suspects)


class TestOnThePages:
    def test_the_language_is_chosen_with_the_certificate(self, checked: Job, owner: User, client: Client) -> None:
        client.force_login(owner)
        page = client.get(f"/jobs/{checked.pk}/certificates/").content.decode()
        assert '<option value="en" selected>English</option><option value="de">German</option>' in page
        answer = client.post(f"/jobs/{checked.pk}/certificates/issue/", {"language": "de"})
        assert answer.status_code == 302
        made = Row.objects.get()
        assert made.content["language"] == "de"
        certificate_issue_task(str(made.run_id), made.pk)
        page = client.get(f"/jobs/{checked.pk}/certificates/").content.decode()
        assert '<option value="de" selected>German</option>' in page
        page = client.get(made.get_absolute_url()).content.decode()
        assert "<dt>Language</dt><dd>German</dd>" in page
        assert '<p lang="de">Das Verdeck erfüllt die Anforderungen nicht.' in page

    def test_an_unknown_one_is_refused(self, checked: Job, owner: User, client: Client) -> None:
        client.force_login(owner)
        answer = client.post(f"/jobs/{checked.pk}/certificates/issue/", {"language": "xx"})
        assert answer.status_code == 422
        assert "no certificate in the language “xx”" in answer.content.decode()

    def test_the_public_check_says_the_language(self, checked: Job, owner: User, client: Client) -> None:
        made = issued(checked, owner, "de")
        page = client.get(f"/check/{made.number}/").content.decode()
        assert "<dt>Language of the document</dt><dd>German</dd>" in page


class TestTheCommand:
    def test_takes_a_language(self, checked: Job, owner: User, tmp_path: Path) -> None:
        out = tmp_path / "paper.pdf"
        call_command("certificate", checked.number, out=str(out), language="de")
        assert "Prüfbescheinigung Verdeck" in pages_of(out.read_bytes())[0]

    def test_refuses_an_unknown_one(self, checked: Job, owner: User, tmp_path: Path) -> None:
        with pytest.raises(CommandError, match="no certificate in the language “xx”") as caught:
            call_command("certificate", checked.number, out=str(tmp_path / "x.pdf"), language="xx")
        assert caught.value.returncode == 2
        assert not (tmp_path / "x.pdf").exists()
