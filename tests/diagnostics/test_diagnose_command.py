"""The command: its answer, and one clear line for every kind of bad input."""

import io
import json
import sys
from types import SimpleNamespace

import pytest
from django.core.management import call_command

from tests.diagnostics.small_system import case_data

pytestmark = pytest.mark.django_db


def case_of(system="rht-trio", **more):
    return case_data(**more) | {"system": system}


def run(tmp_path, content, *options):
    path = tmp_path / "case.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    out = io.StringIO()
    call_command("diagnose", str(path), *options, stdout=out)
    return out.getvalue()


def refused(tmp_path, content, capsys):
    err = io.StringIO()
    path = tmp_path / "case.json"
    path.write_bytes(content if isinstance(content, bytes) else json.dumps(content).encode())
    with pytest.raises(SystemExit) as stop:
        call_command("diagnose", str(path), "--json", stdout=io.StringIO(), stderr=err)
    assert stop.value.code == 2
    words = err.getvalue().strip()
    assert words
    assert "\n" not in words
    assert "Traceback" not in words
    return words


def test_json_of_a_complaint(tmp_path):
    complaint = {"motion": "close", "stops_at": "raise-lid", "lamp": "flashing"}
    answer = json.loads(run(tmp_path, case_of(complaint=complaint, recent_work=["MM3"]), "--json"))
    assert {"suspects", "hypotheses", "nothing_wrong", "next_checks", "ways", "proof", "warnings"} <= set(answer)
    assert answer["suspects"][0]["probability"] > answer["suspects"][1]["probability"] - 1e-12
    assert answer["next_checks"][0]["bits"] > 0
    assert answer["suspects"][0]["for"][0]["words"].startswith("The complaint")


def test_text_for_people(tmp_path):
    words = run(tmp_path, case_of(observations=[{"check": "battery", "volts": 11.5}]))
    assert "Suspects" in words
    assert "is low" in words
    assert "Next checks" in words


def test_standard_input_and_a_file_as_system(tmp_path, monkeypatch, settings):
    path = settings.FIXTURES_DIR / "systems" / "softline-electro.yaml"
    data = json.dumps(case_of(str(path))).encode()
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(data)))
    out = io.StringIO()
    call_command("diagnose", "-", "--json", stdout=out)
    assert json.loads(out.getvalue())["nothing_wrong"] > 0.5


def test_a_published_revision_is_used(tmp_path, settings):
    from django.utils import timezone

    from diagnostics.models import SystemRevision

    text = (settings.FIXTURES_DIR / "systems" / "softline-electro.yaml").read_text(encoding="utf-8")
    text = text.replace("system: softline-electro", "system: own-top", 1)
    SystemRevision.objects.create(
        slug="own-top",
        revision=1,
        title="Own",
        kind="soft-top",
        text=text,
        sha256="0" * 64,
        published_at=timezone.now(),
    )
    assert json.loads(run(tmp_path, case_of("own-top"), "--json"))["suspects"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"system": "no-such-top"}, "no-such-top"),
        ({"system": "bad\0name"}, "no file and no published system"),
        ({"recent_work": ["BG99"]}, "no position BG99"),
        ({"complaint": {"motion": "sideways", "stops_at": "x"}}, "complaint.motion"),
        ({"complaint": {"motion": "close", "stops_at": "x"}}, "no step “x”"),
        ({"car": {"made_on": "2012-13"}}, "car.made_on"),
        ({"car": {"made_on": "2031-01"}}, "before it was made"),
        ({"observations": [{"check": "battery", "volts": 1e6}]}, "observation 1, volts"),
        ({"observations": [{"check": "continuity", "position": "BG1", "ohms": -1}]}, "ohms"),
        ({"observations": [{"check": "sniff"}]}, "observation 1"),
        ({"observations": [{"check": "battery", "volts": 12.5}] * 10_001}, "10000"),
        ({"whatever": 1}, "whatever"),
    ],
)
def test_bad_cases_end_in_one_line(tmp_path, capsys, change, words):
    assert words in refused(tmp_path, case_of() | change, capsys)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"{", "no JSON"),
        (b"[]", "the case"),
        (b"\xff\xfe{}", "UTF-8"),
        (b"[" * 200_000, "no JSON"),
        (b'{"system": NaN}', "system"),
    ],
)
def test_bad_json_ends_in_one_line(tmp_path, capsys, content, words):
    assert words in refused(tmp_path, content, capsys)


def test_a_missing_file_and_a_broken_system_file(tmp_path, capsys):
    err = io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("diagnose", str(tmp_path / "none.json"), stderr=err)
    assert stop.value.code == 2
    assert "cannot be read" in err.getvalue()
    broken = tmp_path / "broken.yaml"
    broken.write_text("system: [")
    assert "broken.yaml" in refused(tmp_path, case_of(str(broken)), capsys)


def test_ten_thousand_entries_are_answered(tmp_path):
    entries = [{"check": "battery", "volts": 12.5}] * 10_000
    answer = json.loads(run(tmp_path, case_of("softline-electro", observations=entries), "--json"))
    assert answer["suspects"]
