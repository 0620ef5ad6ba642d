"""Translation files are whole: every sentence that a certificate can have and no other, with the same gaps."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.paper.fonts import fonts_ready, plain
from reports.document import catalogue, languages
from reports.document.catalogue import Sentence, added, problems, sentences
from reports.document.po import PoError, entries, header

OTHERS = sorted(set(languages.languages()) - {"en"})
HEAD = 'msgid ""\nmsgstr "X-Name: Test\\n"\n\n'


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "certificate.po"
    monkeypatch.setattr(catalogue, "catalogue", lambda _code: path)
    return path


def said(*texts: str) -> dict[str, Sentence]:
    return {text: Sentence(text, "", "a.py:1") for text in texts}


def test_german_is_there() -> None:
    assert languages.languages()["de"] == "Deutsch"


@pytest.mark.parametrize("code", OTHERS)
def test_nothing_is_missing_unused_or_wrong(code: str) -> None:
    found = problems(code, sentences())
    told = "\n".join(found)
    assert not found, f"{len(found)} in {code}; `python -m reports.document.catalogue --add` writes them in:\n{told}"


@pytest.mark.parametrize("code", OTHERS)
def test_the_typeface_has_every_letter(code: str) -> None:
    fonts_ready()
    for entry in entries(languages.catalogue(code).read_text(encoding="utf-8")):
        for form in entry.forms:
            assert plain(form) == form


def test_german_is_printed_with_its_own_quotes() -> None:
    for entry in entries(languages.catalogue("de").read_text(encoding="utf-8")):
        for form in entry.forms:
            assert form.count("„") == form.count("“"), form
            assert not set(form) & set("\"'”’"), form


@pytest.mark.parametrize(
    ("sentence", "where"),
    [
        ("A fault seen by eye is a major finding.", "compose/findings.py"),  # a table
        ("Conditional pass", "draw/states.py"),
        ("{code} clicks: its mechanism moves. That proves neither the contact nor the wire.", "engine/signals.py"),
        ("Replaced", "models/units.py"),
        ("March {year}", "charts/words.py"),
        ("Nov", "paper/kit.py"),
    ],
)
def test_sentences_are_found_wherever_they_stand(sentence: str, where: str) -> None:
    assert where in sentences()[sentence].where


def test_what_only_a_screen_says_is_not_asked_for() -> None:
    found = sentences()
    for text in (
        "Nothing has been inspected in {job} yet, so there is nothing to certify: open its bench sheet first.",
        "No supply voltage given: measure it at the module first, a reading counts as a share of it.",
        "Bench list",
    ):
        assert text not in found


class TestWhatIsWrong:
    def test_missing_with_its_place(self, file: Path) -> None:
        file.write_text(HEAD + 'msgid "One"\nmsgstr "Eins"\n\nmsgid "Two"\nmsgstr ""\n')
        assert problems("xx", said("One", "Two", "Three")) == ["missing (a.py:1): Two", "missing (a.py:1): Three"]

    def test_a_translation_that_is_not_sure_is_missing(self, file: Path) -> None:
        file.write_text(HEAD + '#, fuzzy\nmsgid "One"\nmsgstr "Eins"\n')
        assert problems("xx", said("One")) == ["missing (a.py:1): One"]

    def test_unused_and_twice(self, file: Path) -> None:
        file.write_text(
            HEAD + 'msgid "One"\nmsgstr "Eins"\n\nmsgid "One"\nmsgstr "Eine"\n\nmsgid "Old"\nmsgstr "Alt"\n'
        )
        assert problems("xx", said("One")) == ["unused (line 10): Old", "twice (line 7): One"]

    @pytest.mark.parametrize("form", ["{a} und {b}", "{a:.2f}", "", "{a:.1f} {a:.1f} {c}"])
    def test_gaps_that_differ(self, file: Path, form: str) -> None:
        file.write_text(HEAD + f'msgid "{{a:.1f}} V"\nmsgstr "{form or "V"}"\n')
        assert problems("xx", said("{a:.1f} V")) == ["gaps differ (line 4): {a:.1f} V"]

    def test_one_thing_needs_no_count(self, file: Path) -> None:
        text = 'msgid "{n} step"\nmsgid_plural "{n} steps"\nmsgstr[0] "ein Schritt"\nmsgstr[1] "%s Schritte"\n'
        asked = {"{n} step": Sentence("{n} step", "{n} steps", "a.py:1")}
        file.write_text(HEAD + text % "{n}")
        assert problems("xx", asked) == []
        file.write_text(HEAD + text % "viele")
        assert problems("xx", asked) == ["gaps differ (line 4): {n} step"]

    def test_what_is_missing_is_written_in_to_be_translated(self, file: Path) -> None:
        file.write_text(HEAD + 'msgid "One"\nmsgstr "Eins"\n')
        asked = said("One", 'Say "x"\n\\') | {"{n} step": Sentence("{n} step", "{n} steps", "a.py:2")}
        assert added("xx", asked) == 2
        assert [(one.text, one.plural, one.forms) for one in entries(file.read_text())] == [
            ("One", "", ["Eins"]),
            ('Say "x"\n\\', "", [""]),
            ("{n} step", "{n} steps", ["", ""]),
        ]
        assert added("xx", asked) == 0


class TestReading:
    def test_lines_are_joined_and_notes_left_out(self) -> None:
        text = '# note\n#: x.py:3\nmsgid ""\n"One "\n"two"\nmsgstr "Eins "\n"zwei"\n'
        assert [(one.text, one.forms) for one in entries(text)] == [("One two", ["Eins zwei"])]

    def test_the_header_is_no_sentence(self) -> None:
        text = 'msgid ""\nmsgstr ""\n"X-Name: Deutsch\\n"\n"Plural-Forms: nplurals=2; plural=(n != 1);\\n"\n'
        assert list(entries(text)) == []
        assert header(text) == {"X-Name": "Deutsch", "Plural-Forms": "nplurals=2; plural=(n != 1);"}

    @pytest.mark.parametrize(
        ("text", "line"),
        [
            ('msgstr "x"', 1),
            ('"x"', 1),
            ('msgid "a"\nmsgstr "b', 2),
            ('msgid "a"\nmsgstr "b\\q"', 2),
            ('msgid "a"\nmsgstr[1] "b"', 2),
            ('msgid "a"\nnonsense', 2),
        ],
    )
    def test_what_cannot_be_read_is_named_by_its_line(self, text: str, line: int) -> None:
        with pytest.raises(PoError, match=f"^line {line}: "):
            list(entries(text))

    @given(st.dictionaries(st.text(min_size=1), st.text(min_size=1), max_size=5))
    def test_any_words_come_back(self, words: dict[str, str]) -> None:
        quoted = catalogue._escaped
        text = "\n".join(f'msgid "{quoted(one)}"\nmsgstr "{quoted(other)}"\n' for one, other in words.items())
        assert {one.text: one.forms for one in entries(text)} == {one: [other] for one, other in words.items()}
