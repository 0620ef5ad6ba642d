"""The step player as a page: step by step by links, with faults, and what a customer would tell of it."""

from collections.abc import Callable

import pytest
from django.test import Client

from diagnostics import services
from diagnostics.engine.drawing.player import player_frames
from diagnostics.engine.drawing.said import customer_tells
from diagnostics.engine.faults import faults_of
from diagnostics.engine.results import Fault
from diagnostics.engine.system.revising import with_revision
from diagnostics.models import SystemRevision
from diagnostics.selectors import system_of
from shop.models import User
from tests.diagnostics.bench import words
from tests.diagnostics.systems import SLUGS, shipped

As = Callable[[str], Client]
AT = "/systems/rht-trio/play/"
TRIO = shipped("rht-trio")


@pytest.mark.parametrize(
    ("motion", "fault", "said"),
    [
        ("close", Fault("BG4", "never-makes"), "A pump or motor is heard. The lamp flashes."),
        ("close", Fault("BG8", "open"), "Nothing is heard."),
        ("close", Fault("GP1", "dead"), "It goes neither way. Nothing is heard."),
        ("close", Fault("GB1", "low"), "Nothing is heard."),
        ("close", Fault("BG2", "stays-made"), "The lamp stays lit."),
        ("open", Fault("MM5", "binds"), "A pump or motor is heard."),
    ],
)
def test_what_a_customer_tells_is_what_the_player_shows(motion: str, fault: Fault, said: str) -> None:
    told = " ".join(customer_tells(TRIO, motion, [fault]))
    assert said in told
    last = player_frames(TRIO, motion, [fault])[-1]
    assert f"stops at “{last.title}”." in told


@pytest.mark.parametrize("slug", SLUGS)
def test_whatever_the_fault_it_is_told_where_the_motion_stops_and_only_there(slug: str) -> None:
    system = shipped(slug)
    for motion in ("open", "close"):
        for fault in faults_of(system)[::5]:
            told = customer_tells(system, motion, [fault])
            stalled = player_frames(system, motion, [fault])[-1].stalled
            assert ("runs to its end" in told[0]) == (not stalled), fault


def test_a_fault_that_comes_and_goes_is_told_so() -> None:
    told = customer_tells(TRIO, "close", [Fault("BG4", "never-makes"), Fault("BG8", "comes-and-goes")])
    assert "It comes and goes." in told


@pytest.mark.django_db
def test_a_motion_is_gone_through_by_links_alone(client_as: As, revision: SystemRevision) -> None:
    client, seen, query = client_as("counter"), [], "?motion=close"
    while query:
        page = words(client.get(AT + query))
        seen.append(page)
        query = page.partition('rel="next" href="')[2].partition('"')[0].replace("&amp;", "&")
    frames = player_frames(system_of(revision), "close")
    assert len(seen) == len(frames)
    for page, frame in zip(seen, frames, strict=True):
        assert frame.title in page
        assert frame.words in page
        assert "<svg" in page
    assert 'rel="prev"' not in seen[0]
    assert 'aria-disabled="true"' in seen[-1]
    assert "style=" not in seen[3]


@pytest.mark.django_db
def test_a_step_says_what_it_waits_for_and_marks_what_changed(client_as: As, revision: SystemRevision) -> None:
    frames = player_frames(system_of(revision), "close")
    at = next(n for n in range(1, len(frames)) if frames[n].number == 2 and frames[n].words == "Ended.")
    page = words(client_as("counter").get(AT, {"motion": "close", "step": str(at)}))
    step = system_of(revision).motions["close"].steps[1]
    assert "Ends when" in page
    assert "s</dd>" in page
    before = {one.code: one.told for one in frames[at - 1].sensors}
    moved = [one.code for one in frames[at].sensors if one.told != before[one.code]]
    assert moved
    assert page.count('<span class="tag tag-go">changed</span>') == len(moved)
    for code in step.ends_when:
        assert f'<span class="mono">{code}</span>' in page


@pytest.mark.django_db
def test_with_faults_it_stops_and_says_where_and_what_is_told(client_as: As, revision: SystemRevision) -> None:
    query: dict[str, str | list[str]] = {"motion": "close", "step": "999", "fault": ["BG4:never-makes", "", "BG8:open"]}
    page = words(client_as("technician").get(AT, query))
    assert "stops here" in page
    assert "lamp flashes" in page
    assert "Does not end: BG4 is reported released, made is awaited." in page
    assert "What the customer would tell" in page
    assert '<option value="BG4:never-makes" selected>' in page
    assert '<option value="BG8:open" selected>' in page
    assert "fault=BG4%3Anever-makes&amp;fault=BG8%3Aopen" in page.partition('rel="prev" href="')[2].partition('"')[0]
    page = words(client_as("technician").get(AT, {"motion": "close", "fault": "KF1:input-dead:BG11", "step": "999"}))
    assert "Does not end: BG11 is reported released" in page


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("motion=sideways", "There is no such motion; expected open or close."),
        ("fault=BG99:open", "This top cannot have the fault BG99:open"),
        ("fault=GB1:open", "This top cannot have the fault GB1:open"),
        ("fault=BG1:open&fault=BG2:open&fault=BG3:open&fault=BG4:open", "expected at most 3 at once"),
    ],
)
def test_what_cannot_be_played_is_told(client_as: As, revision: SystemRevision, query: str, said: str) -> None:
    answer = client_as("technician").get(f"{AT}?{query}")
    assert answer.status_code == 422
    assert said in words(answer)


@pytest.mark.django_db
@pytest.mark.parametrize("step", ["-1", "x", "", "99999", "9" * 40, "٣"])
def test_a_step_that_is_not_there_is_kept_within_the_motion(client_as: As, revision: SystemRevision, step: str) -> None:
    answer = client_as("technician").get(AT, {"step": step})
    assert answer.status_code == 200
    count = len(player_frames(system_of(revision), "open"))
    assert (f"{count} of {count}" if step == "99999" else f"1 of {count}") in words(answer)


@pytest.mark.django_db
def test_an_older_revision_and_the_draft_are_played_as_they_are(
    client_as: As, revision: SystemRevision, tech: User, owner: User
) -> None:
    step = system_of(revision).motions["close"].steps[0]
    text = with_revision(revision.text, 3).replace(step.title, "First of all")
    services.draft_keep(slug="rht-trio", text=text, seen=0, by=tech)
    client = client_as("technician")
    assert "First of all" in words(client.get("/systems/rht-trio/draft/play/?motion=close&step=1"))
    assert "First of all" not in words(client.get(f"{AT}?motion=close&step=1"))
    services.draft_publish(slug="rht-trio", seen=1, note="why", by=owner)
    assert "First of all" in words(client.get(f"{AT}?motion=close&step=1"))
    old = words(client.get(f"{AT}?revision=2&motion=close&step=1"))
    assert "First of all" not in old
    assert "?revision=2&amp;motion=close&amp;step=2" in old
    assert client.get(f"{AT}?revision=9").status_code == 404
    assert client.get("/systems/rht-trio/draft/play/").status_code == 404


@pytest.mark.django_db
def test_a_draft_with_mistakes_cannot_be_played(client_as: As, revision: SystemRevision, tech: User) -> None:
    services.draft_keep(slug="rht-trio", text="system: rht-trio", seen=0, by=tech)
    answer = client_as("technician").get("/systems/rht-trio/draft/play/")
    assert answer.status_code == 422
    assert "it can be played once it has none" in words(answer)


@pytest.mark.django_db
def test_with_htmx_the_player_alone_comes_and_going_back_gives_the_page(
    client_as: As, revision: SystemRevision
) -> None:
    client = client_as("technician")
    answer = client.get(f"{AT}?motion=close&step=1", headers={"HX-Request": "true"})
    part = words(answer)
    assert part.lstrip().startswith('<div id="player"')
    assert "hx-swap-oob" in part
    assert "no-store" in answer["Cache-Control"]
    assert "HX-History-Restore-Request" in answer["Vary"]
    headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
    page = words(client.get(f"{AT}?motion=close&step=1", headers=headers))
    assert "<html" in page
    assert page.count('id="player-said"') == 1
