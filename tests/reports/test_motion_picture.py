"""The displacement-step diagram on the certificate: what it says is what the system declares, on any words."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.engine.motion import MADE, fault_free, reports
from diagnostics.engine.system.model import TopSystem
from reports.document.content import MotionBar, MotionLane, MotionPicture, Results
from reports.document.draw import draw
from tests.reports import sample
from tests.reports.test_draw import pages_of

SYSTEMS = ["rht-trio", "softbow-hydro", "softline-electro"]


def tried(system: TopSystem, *, stops_at: str | None = None, motion: str = "close") -> Results:
    return sample.results(sample.evidence_of([sample.trial(system, 1, motion, stops_at)], top=system))


def test_a_motion_that_was_not_tried_has_no_picture() -> None:
    assert sample.results(sample.evidence_of([])).pictured == ()
    assert [one.motion for one in tried(sample.system()).pictured] == ["close"]


@pytest.mark.parametrize("slug", SYSTEMS)
@pytest.mark.parametrize("motion", ["open", "close"])
def test_it_says_what_the_system_declares(slug: str, motion: str) -> None:
    system = sample.system(slug)
    (picture,) = tried(system, motion=motion).pictured
    traces = fault_free(system, motion)
    assert picture.steps == tuple(trace.step.title for trace in traces)
    for lane, axis in zip(picture.lanes, dict.fromkeys(a for t in traces for a in t.step.moves), strict=True):
        stands = [traces[0].before[axis], *(trace.after[axis] for trace in traces)]
        assert [lane.places[at] for at in lane.stands] == [place.replace("-", " ") for place in stands]
    command = system.motions[motion].command  # type: ignore[index]
    for bar in picture.bars:
        at_rest = [reports(system, pose, command)[bar.position] == MADE for pose in
                   (traces[0].before, *(trace.after for trace in traces))]  # fmt: skip
        assert list(bar.made[::2]) == at_rest
        assert bar.ends == tuple(i for i, t in enumerate(traces, 1) if bar.position in t.step.ends_when)
    shown = {bar.position for bar in picture.bars}
    assert shown >= {code for trace in traces for code in trace.step.ends_when}


@pytest.mark.parametrize("slug", SYSTEMS)
def test_where_the_last_trial_stopped_is_on_the_paper(slug: str) -> None:
    system = sample.system(slug)
    third = system.motions["close"].steps[2]
    found = tried(system, stops_at=third.name)
    (picture,) = found.pictured
    assert picture.stopped_at == 3
    words = " ".join(pages_of(draw(sample.certificate(found, system)).pdf))
    assert f"{picture.title}, as declared" in words
    assert f"{len(picture.steps)} steps from left to right" in words
    assert "The last trial stopped at step 3." in words
    for bar in picture.bars:
        assert f"{bar.position} {bar.name[:12]}" in words


def test_a_trial_that_ran_stops_nowhere() -> None:
    (picture,) = tried(sample.system()).pictured
    assert picture.stopped_at is None
    assert "stopped at step" not in " ".join(pages_of(draw(sample.certificate(tried(sample.system()))).pdf))


WORDS = st.text(max_size=120)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(WORDS, WORDS, WORDS, st.integers(1, 14), st.integers(1, 9))
def test_no_words_and_no_number_of_steps_break_it(title: str, place: str, name: str, steps: int, places: int) -> None:
    stands = tuple(number % places for number in range(steps + 1))
    made = tuple(number % 3 == 0 for number in range(2 * steps + 1))
    picture = MotionPicture(
        "close",
        title,
        (title,) * steps,
        (MotionLane(name, (place,) * places, stands),),
        (MotionBar("BG1", name, made, (1, steps)),),
        stopped_at=steps,
    )
    content = sample.certificate(replace(tried(sample.system()), pictured=(picture,)))
    assert draw(content).pages >= 3


@pytest.mark.parametrize("rows", range(0, 40, 3))
def test_the_heading_of_the_motions_never_stands_alone_at_the_foot_of_a_page(rows: int) -> None:
    top = sample.system()
    found = sample.results(sample.evidence_of([sample.trial(top, 0, "open")]))
    more = tuple(replace(found.proof[0], position=f"XX{n}") for n in range(rows))
    pages = pages_of(draw(sample.certificate(replace(found, proof=(*found.proof, *more)))).pdf)
    page = next(text for text in pages if "Motions and their times" in text)
    assert "as declared" in page[page.index("Motions and their times") :]
