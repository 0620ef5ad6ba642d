"""`manage.py check_system` on files, on standard input, in lines and in JSON."""

import io
import json
from pathlib import Path

import pytest
from django.core.management import call_command

from shop.settings import FIXTURES_DIR
from tests.diagnostics.systems import SLUGS, text_of

FILES = [str(FIXTURES_DIR / "systems" / f"{slug}.yaml") for slug in SLUGS]


class Stdin:
    def __init__(self, data: bytes) -> None:
        self.buffer = io.BytesIO(data)


def run(*arguments: str) -> tuple[str, int]:
    out = io.StringIO()
    code = 0
    try:
        call_command("check_system", *arguments, stdout=out)
    except SystemExit as stop:
        code = int(str(stop.code))
    return out.getvalue(), code


def test_one_line_for_each_sound_file() -> None:
    out, code = run(*FILES)
    lines = out.splitlines()
    assert code == 0
    assert len(lines) == 3
    assert lines[0].startswith(f"{FILES[0]}: rht-trio revision 2: 30 positions, 15 sensors, ")
    assert lines[0].endswith("8 steps to open and 8 to close; both motions run.")


def test_mistakes_with_file_line_and_path(tmp_path: Path) -> None:
    file = tmp_path / "wrong.yaml"
    file.write_text(text_of("rht-trio").replace("low_share: 0.30", "low_share: 0.80"), encoding="utf-8")
    out, code = run(str(file), FILES[1])
    assert code == 2
    assert out.splitlines()[0] == (
        f"{file}:12: module.low_share: low_share is 0.8 and high_share 0.7; expected low_share to be the smaller one."
    )
    assert out.splitlines()[1] == (f"{file}: 1 mistake; what builds on this entry is checked when it is mended.")
    assert "softbow-hydro revision 2" in out.splitlines()[2]


def test_standard_input_and_json(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", Stdin(text_of("softline-electro").encode()))
    out, code = run("-", "--json")
    (answer,) = json.loads(out)["files"]
    assert code == 0
    assert (answer["file"], answer["valid"], answer["problems"]) == ("<stdin>", True, [])
    assert answer["system"]["steps"] == {"open": 3, "close": 3}
    assert answer["system"]["pins"][0] == {
        "position": "SF1", "pin": "XG1/A1", "colours": ["BU"], "wire_ohm_at_most": 0.087,
    }  # fmt: skip


def test_mistakes_in_json(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", Stdin(b"- nothing\n"))
    out, code = run("-", "--json")
    (answer,) = json.loads(out)["files"]
    assert code == 2
    assert answer["system"] is None
    assert answer["problems"][0]["line"] == 1
    assert "expected a top system" in answer["problems"][0]["words"]


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        (b"a: 1\nb: \xff\n", 2, "This is no UTF-8 text; save the file as UTF-8."),
        (b"#" * 2_000_000, 1, "The file is larger than 1600000 bytes; a system file is far smaller."),
    ],
)
def test_bytes_that_are_no_system_file(data: bytes, line: int, words: str, tmp_path: Path) -> None:
    file = tmp_path / "bytes.yaml"
    file.write_bytes(data)
    out, code = run(str(file))
    assert (out.splitlines()[0], code) == (f"{file}:{line}: {words}", 2)


def test_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    out, code = run(str(tmp_path / "absent.yaml"), str(tmp_path), "nul\0l.yaml")
    assert code == 2
    assert out.count("The file cannot be read: ") == 2
    assert "This is no name of a file." in out


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    file = tmp_path / "bom.yaml"
    file.write_bytes(b"\xef\xbb\xbf" + text_of("softline-electro").encode())
    assert run(str(file))[1] == 0
