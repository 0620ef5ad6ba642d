"""Pressure holds on the certificate: figures, decision, what was not held, what a leak makes of the top."""

import json
from datetime import timedelta
from typing import Any

import pytest

from reports.document.compose import Evidence, Worked
from reports.document.content import Certificate, from_json, to_json
from reports.document.draw import draw
from tests.reports import sample
from tests.reports.test_draw import pages_of


def hold(top: Any, minute: float, position: str = "MM3", end: float = 116, **more: Any) -> Any:
    figures = {"bar_start": 120, "bar_end": end, "seconds": 60}
    return sample.seen(top, minute, check="pressure-hold", position=position, **{**figures, **more})


def evidence(*ends: float, work_at: float | None = None) -> Evidence:
    top = sample.system()
    checks = [*sample.sound_checks(top), *(hold(top, 100 + 10 * n, end=end, oil_c=18) for n, end in enumerate(ends))]
    work = []
    if work_at is not None:
        at = sample.START + timedelta(minutes=work_at)
        work = [Worked("MM3", "Replaced", "Seal hard", at, "Ines Okafor", "TW-MMB-5010", "TW-MMB-5010")]
        checks += [sample.trial(top, 160, "open"), sample.trial(top, 165, "close")]
    return sample.evidence_of(checks, work)


def certificate(*ends: float, **more: Any) -> Certificate:
    return sample.certificate(sample.results(evidence(*ends, **more)))


def test_a_hold_stands_with_its_figures_in_the_hydraulics() -> None:
    content = certificate(116)
    (row,) = content.results.holds
    assert (row.bar_start, row.bar_end, row.seconds, row.oil_c, row.verdict) == (120, 116, 60, 18, "ok")
    assert row.usual_loss_bar == pytest.approx(8)
    assert row.least_leak_ml_min is None
    assert not [one for one in content.results.observed if one.position == "MM3"], "said once"
    text = " ".join(pages_of(draw(content).pdf))
    assert "MM3 Stack cylinder, left" in text
    assert "120 to 116 bar 60 s 8 bar 18 °C holds" in text
    assert "which gauge it was is not recorded and no calibration is claimed" in text


def test_a_leak_is_a_major_finding_with_its_lower_bound() -> None:
    content = certificate(60)
    found = [one for one in content.results.open_findings() if one.position == "MM3"]
    assert [one.weight for one in found] == ["major"]
    assert "MM3 went from 120 to 60 bar" in found[0].words
    assert content.overall.statement == "fail"
    leak = content.results.holds[0].least_leak_ml_min
    assert leak is not None
    assert f"at least {leak:.3f} ml/min" in " ".join(pages_of(draw(content).pdf))


def test_repaired_and_held_again_it_is_put_right() -> None:
    content = certificate(60, 117, work_at=105)
    weights = {one.weight for one in content.results.findings if one.position == "MM3"}
    assert weights == {"put-right"}
    assert [one.after_work for one in content.results.holds] == [False, True]


def test_what_was_not_held_is_said() -> None:
    none = {one.what: one.why for one in certificate().results.not_tested}
    assert none["Holding of pressure"] == "No pressure-hold test was made."
    one = [row.what for row in certificate(116).results.not_tested]
    assert "Holding of pressure" not in one
    assert "Holding of pressure: MM4 Stack cylinder, right" in one
    assert "Holding of pressure: MM3 Stack cylinder, left" not in one
    worked = [row.what for row in certificate(60, work_at=105).results.not_tested]
    assert "Holding of pressure" in worked, "a hold before the work says nothing of the top as it is now"


def test_an_electric_top_has_no_holds_to_miss() -> None:
    top = sample.system("softline-electro")
    found = sample.results(sample.evidence_of(sample.sound_checks(top), top=top))
    assert not [row for row in found.not_tested if row.area == "hydraulics"]
    assert found.holds == ()


def test_it_survives_its_own_file() -> None:
    content = certificate(60, 117)
    assert from_json(to_json(content)) == content


def test_a_certificate_from_before_there_were_holds_still_reads() -> None:
    data = json.loads(to_json(certificate()))
    del data["results"]["holds"]
    for trial in data["results"]["trials"]:
        del trial["oil_c"]
    assert from_json(json.dumps(data)) == certificate()


def test_the_fluid_temperature_of_a_trial_is_printed() -> None:
    top = sample.system()
    checks = [*sample.sound_checks(top), sample.seen(top, 90, check="motion", motion="open", stops_at=None, oil_c=-4)]
    content = sample.certificate(sample.results(sample.evidence_of(checks)))
    assert content.results.trials[-1].oil_c == -4
    assert "fluid at -4 °C" in " ".join(pages_of(draw(content).pdf))
