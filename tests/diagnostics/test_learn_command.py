"""`manage.py learn`: the answer that is promised, and one clear line where there is none."""

import io
import json

import pytest
from django.core.management import call_command

from tests.diagnostics.sightings_file import rows_of, text_of

BAD = "u9,s1,BG1,A-1,2004-03,,hot,2003-05-06,good,"


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("learn") / "seen.csv"
    path.write_text(text_of([BAD, *rows_of(300)]), encoding="utf-8-sig")
    return path


def answer(*args):
    out = io.StringIO()
    call_command("learn", *map(str, args), stdout=out)
    return out.getvalue()


def test_the_answer_has_what_it_is_promised_to_have(file):
    told = json.loads(answer(file, "--json"))
    assert [(one["position"], one["part"]) for one in told["models"]] == [
        ("BG1", "A-1"),
        ("BG2", "A-1"),
        ("BG3", "B-2"),
    ]
    for one in told["models"]:
        assert one.keys() >= {"system", "position", "part", "mode", "shape", "scale_years"}
        assert one["shape_interval"][0] < one["shape"] < one["shape_interval"][1]
        assert one["scale_years_interval"][0] < one["scale_years"] < one["scale_years_interval"][1]
    (found,) = told["ranges"]
    assert found["position"] == "BG1 BG2"
    assert found["positions"] == ["BG1", "BG2"]
    assert found["first_set"][0] <= found["first_month"] <= found["first_set"][1]
    assert found["last_set"][0] <= found["last_month"] <= found["last_set"][1]
    assert found["last_set"][0] <= "2004-12" <= found["last_set"][1]
    ratio = found["hazard_ratio"]
    assert ratio["low"] < ratio["estimate"] < ratio["high"]
    assert found["inside"]["cars"] + found["outside"]["cars"] == 600
    assert found["inside"]["failed"] > 0
    assert found["found"] is True
    assert found["state"] == "proposed"
    assert [one["row"] for one in told["skipped"]] == [2]
    assert "before made_on" in told["skipped"][0]["why"]


def test_without_json_it_is_lines_for_people(file):
    lines = answer(file).splitlines()
    assert any("BG1 BG2 A-1 stays-made: 2003-" in line and "times as often" in line for line in lines)
    assert any(line.strip().startswith("row 2: checked_on lies before made_on") for line in lines)


def test_a_file_needs_no_database(file, django_db_blocker):
    with django_db_blocker.block():
        assert json.loads(answer(file, "--json"))["models"]


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "is empty"), (b"a,b\n1,2\n", "lacks unit"), (b"\xff\xfe\x00\x93", "no CSV text in UTF-8")],
)
def test_what_cannot_be_read_is_one_line_and_a_two(tmp_path, content, words):
    path = tmp_path / "seen.csv"
    path.write_bytes(content)
    err = io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("learn", str(path), stderr=err)
    assert stop.value.code == 2
    assert words in err.getvalue()
    assert len(err.getvalue().strip().splitlines()) == 1


def test_a_file_that_is_not_there_is_one_line_and_a_two(tmp_path):
    err = io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("learn", str(tmp_path / "none.csv"), stderr=err)
    assert stop.value.code == 2
    assert "cannot be read" in err.getvalue()


@pytest.mark.django_db
def test_without_a_file_this_shop_is_learned_from():
    told = json.loads(answer("--json"))
    assert told["models"] == []
    assert told["units"] == 0
