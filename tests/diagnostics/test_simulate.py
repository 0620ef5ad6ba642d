"""The simulated bench: what it shows agrees with what the engine makes of it."""

import random
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as shop_settings
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from diagnostics.engine.case import Observation
from diagnostics.engine.faults import faults_of, mode_of
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import at_pin

SLUGS = ("rht-trio", "softbow-hydro", "softline-electro")
_OBSERVATION: TypeAdapter[Any] = TypeAdapter(Observation)


@cache
def _system(slug: str) -> TopSystem:
    path: Path = shop_settings.FIXTURES_DIR / "systems" / f"{slug}.yaml"
    return load_system(path.read_text(encoding="utf-8"), path.name)


def _bench(slug: str, *faults: Fault, seed: int = 1) -> Bench:
    return Bench(_system(slug), faults, random.Random(seed))  # noqa: S311 - a story, no secret


def _verdict(bench: Bench, observation: dict[str, Any]) -> str:
    return judge(bench.system, _OBSERVATION.validate_python(observation)).verdict


@settings(deadline=None)
@given(slug=st.sampled_from(SLUGS), seed=st.integers(0, 10_000))
def test_a_sound_top_runs_and_reads_well_everywhere(slug: str, seed: int) -> None:
    bench = _bench(slug, seed=seed)
    for motion in ("open", "close"):
        assert _verdict(bench, bench.try_motion(motion)) == "ok"
        assert bench.pose == bench.system.poses[bench.system.motions[motion].end]  # type: ignore[index]
        for code, position in bench.system.sensors().items():
            assert _verdict(bench, bench.read(code)) == "ok"
            assert _verdict(bench, bench.continuity(code)) == "ok"
            assert bench.look(code)["found"] == "nothing"
            if position.watches is None:
                assert _verdict(bench, bench.by_hand(code)) == "ok"
    assert _verdict(bench, bench.battery()) == "ok"


@settings(deadline=None)
@given(slug=st.sampled_from(SLUGS), seed=st.integers(0, 10_000), data=st.data())
def test_mended_it_is_as_good_as_before(slug: str, seed: int, data: st.DataObject) -> None:
    faults = data.draw(st.sets(st.sampled_from(faults_of(_system(slug))), min_size=1, max_size=3))
    bench = _bench(slug, *faults, seed=seed)
    bench.complaint()
    bench.break_down(())
    for motion in ("open", "close"):
        bench.stand(bench.system.motions[motion].start)  # type: ignore[index]
        assert bench.try_motion(motion)["stops_at"] is None


@pytest.mark.parametrize("slug", SLUGS)
def test_every_lasting_fault_of_a_path_gives_itself_away(slug: str) -> None:
    """Read in both resting poses or by hand, an open, unplugged or dead contact is a finding somewhere."""
    for fault in faults_of(_system(slug)):
        if fault.mode not in ("open", "unplugged", "never-makes", "stays-made", "shorted-to-ground"):
            continue
        bench = _bench(slug, fault)
        readings = []
        for pose in bench.system.poses:
            bench.stand(pose)
            readings.append(bench.read(at_pin(bench.system, fault.position)))
        if bench.system.positions[fault.position].watches is None:
            readings.append(bench.by_hand(fault.position))
        # The broken ends of a wire touch in some cars: then only a wire check shows it.
        readings.append(bench.continuity(fault.position))
        assert "finding" in {_verdict(bench, one) for one in readings}, fault


def test_a_fault_stays_as_it_is_until_somebody_mends_it() -> None:
    bench = _bench("rht-trio", Fault("BG3", "high-resistance"), seed=4)
    first = bench.read("BG3")
    assert _verdict(bench, first) == "finding"
    for _number in range(20):
        again = bench.read("BG3")
        assert judge(bench.system, _OBSERVATION.validate_python(again)).reads == "made" or again["volts"] > 3
        assert _verdict(bench, again) == "finding"


def test_a_switch_out_of_adjustment_is_good_by_hand() -> None:
    bench = _bench("rht-trio", Fault("BG1", "out-of-adjustment"), seed=2)
    assert _verdict(bench, bench.by_hand("BG1")) == "ok"


def test_a_dead_drive_does_not_leave_its_place() -> None:
    bench = _bench("softline-electro", Fault("MA1", "dead"))
    trial = bench.try_motion("close")
    assert trial["stops_at"] == "extend-top"
    assert bench.pose["top"] == trial["stands"]["top"] == "stowed"
    assert bench.complaint() == {"motion": "close", "stops_at": "extend-top", "lamp": "flashing"}


def test_a_weak_drive_gives_up_on_its_way() -> None:
    bench = _bench("rht-trio", Fault("MM3", "binds"), seed=3)
    trials = [bench.try_motion("close") for _number in range(5)]
    stopped = [trial for trial in trials if trial["stops_at"] == "raise-stack"]
    assert stopped
    assert {trial["stands"]["stack"] for trial in stopped} == {"between"}
    assert all("divider" not in trial["stands"] for trial in stopped), "nobody moved that"


def test_with_both_commands_seen_nothing_moves_and_the_lamp_stays_dark() -> None:
    bench = _bench("rht-trio", Fault("SF1", "stays-made"))
    trial = bench.try_motion("open")
    assert (trial["stops_at"], trial["lamp"]) == ("unlock-header", "off")
    assert trial["stands"]["header-latch"] == "locked"
    assert bench.try_motion("close")["stops_at"] is None


def test_a_switch_that_is_not_believed_stops_the_next_step() -> None:
    bench = _bench("rht-trio", Fault("BG9", "open"))
    assert bench.try_motion("close")["stops_at"] == "raise-stack"
    assert bench.pose["stack"] == "up", "the stack is there; only its switch does not say so"


def test_cold_fluid_makes_what_the_pump_drives_slow_and_nothing_else() -> None:
    warm, cold = (
        Bench(_system("rht-trio"), (), random.Random(5), oil_c)  # noqa: S311 - a story, no secret
        for oil_c in (20.0, -15.0)
    )
    seconds, slower = warm.try_motion("open")["seconds"], cold.try_motion("open")
    assert slower["oil_c"] == -15.0
    assert slower["seconds"]["stow-stack"] > 1.2 * seconds["stow-stack"]
    assert slower["seconds"]["clear-shelf"] == seconds["clear-shelf"]
    assert _verdict(cold, slower) == "ok", "cold explains it"


def test_a_bench_without_fluid_or_thermometer_notes_no_temperature() -> None:
    assert "oil_c" not in _bench("softline-electro").try_motion("open")
    bench = _bench("rht-trio")
    bench.notes_oil = False
    assert bench.try_motion("open")["oil_c"] is bench.pressure_hold("MM1")["oil_c"] is None


@pytest.mark.parametrize("slug", ["rht-trio", "softbow-hydro"])
def test_only_what_does_not_seal_loses_pressure(slug: str) -> None:
    codes = [code for code, one in _system(slug).positions.items() if one.kind in ("cylinder", "pump")]
    for seed in range(40):
        leaking = _bench(slug, Fault("MM3", "leaks"), Fault("MM1", "binds"), seed=seed)
        for code in codes:
            verdict = _verdict(leaking, leaking.pressure_hold(code))
            assert verdict == "ok" or code == "MM3"
            assert verdict == _verdict(leaking, leaking.pressure_hold(code)), "it shows the same until mended"
    seen = Counter(
        _verdict(b, b.pressure_hold("MM3")) for b in (_bench(slug, Fault("MM3", "leaks"), seed=s) for s in range(200))
    )
    assert seen["finding"] > 5 * seen["ok"] > 0, "a seal that only weeps under way holds"


def test_the_same_dice_give_the_same_bench() -> None:
    fault = next(
        one
        for one in faults_of(_system("softbow-hydro"))
        if mode_of(_system("softbow-hydro"), one).name == "comes-and-goes"
    )
    one, other = (_bench("softbow-hydro", fault, seed=9) for _number in range(2))
    for code in one.system.sensors():
        assert one.read(code) == other.read(code)
    assert one.try_motion("open") == other.try_motion("open")
