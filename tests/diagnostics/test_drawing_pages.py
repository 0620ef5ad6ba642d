"""The drawings of a sheet as a person gets them: as a fragment and as a page, for every state of a sheet."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings
from django.template.loader import render_to_string
from django.test import Client
from django.utils import timezone

from diagnostics import services
from diagnostics.engine.drawing.player import player_frames
from diagnostics.engine.results import Fault
from diagnostics.models import BenchSheet, SystemRevision
from diagnostics.selectors import system_of
from diagnostics.selectors.drawings import sheet_drawings
from shop.models import Job, User
from tests.diagnostics.bench import SUPPLY, add, post_check, words
from tests.diagnostics.bench import opened as opened_sheet

pytestmark = pytest.mark.django_db

TABS = ("connector", "motion", "top")
HTMX = {"HX-Request": "true"}


def shown(client: Client, sheet: BenchSheet, tab: str, *, htmx: bool = True) -> str:
    answer = client.get(f"/sheets/{sheet.pk}/drawings/", {"tab": tab}, headers=HTMX if htmx else {})
    assert answer.status_code == 200
    return words(answer)


def cavity(page: str, code: str) -> str:
    """The link around a pin of the connector."""
    (found,) = re.findall(rf'<a href="[^"]*-{code}".*?</a>', page, re.DOTALL)
    return str(found)


@pytest.mark.parametrize("tab", TABS)
def test_a_fragment_for_the_sheet_and_a_page_of_its_own(
    client_as: Callable[[str], Client], sheet: BenchSheet, tab: str
) -> None:
    fragment, page = (shown(client_as("technician"), sheet, tab, htmx=htmx) for htmx in (True, False))
    assert "<html" not in fragment
    assert fragment.lstrip().startswith('<section id="drawings"')
    assert "<html" in page
    assert "<h1>Drawings</h1>" in page
    assert page.count("<svg") >= fragment.count("<svg") > 1
    assert "style=" not in fragment
    assert len(fragment.encode()) < 60_000


def test_the_connector_says_what_each_pin_should_give_and_gave(
    client_as: Callable[[str], Client], sheet: BenchSheet, tech: User
) -> None:
    add(sheet, tech, check="pin", position="BG1", pose=sheet.pose, volts=0.1, supply_volts=SUPPLY)
    add(sheet, tech, check="pin", position="BG2", pose=sheet.pose, volts=0.1, supply_volts=SUPPLY)
    page = shown(client_as("technician"), sheet, "connector")
    assert "Ignition on: the top can move by itself" in page
    assert 'aria-label="XG1/A1 BG1 Header latch locked, BN/WH, should be made, good' in cavity(page, "BG1")
    assert "should be released, finding" in cavity(page, "BG2")
    assert 'class="d-differs"' in cavity(page, "BG2")
    assert "should be made" in cavity(page, "BG3")
    assert "finding" not in cavity(page, "BG3")
    assert f'href="{sheet.get_absolute_url()}#volts-BG3" data-focus="volts-BG3"' in cavity(page, "BG3")
    assert cavity(page, "BG3").count('class="iec-') == 2


def test_a_reading_in_another_pose_or_struck_out_does_not_count(
    client_as: Callable[[str], Client], sheet: BenchSheet, tech: User
) -> None:
    other = {**sheet.pose, "lid": "open"}
    add(sheet, tech, check="pin", position="BG3", pose=other, volts=0.1, supply_volts=SUPPLY)
    wrong = add(sheet, tech, check="pin", position="BG2", pose=sheet.pose, volts=0.1, supply_volts=SUPPLY)
    services.check_strike(check=wrong, by=tech, why="wrong pin")
    page = shown(client_as("technician"), sheet, "connector")
    assert "finding" not in cavity(page, "BG3") + cavity(page, "BG2")


def test_the_pin_to_read_next_is_flagged(client_as: Callable[[str], Client], sheet: BenchSheet, tech: User) -> None:
    services.sheet_set_complaint(
        sheet=sheet, by=tech, complaint={"motion": "close", "stops_at": "raise-lid", "lamp": None}
    )
    flagged = [cell.code for one in sheet_drawings(sheet, "connector").connectors for cell in one.cells if cell.is_next]
    page = shown(client_as("technician"), sheet, "connector")
    assert len(flagged) == page.count("d-cavity-next") <= 1
    if flagged:
        assert "check next" in cavity(page, flagged[0])


def test_who_only_reads_is_led_to_the_row(client_as: Callable[[str], Client], sheet: BenchSheet) -> None:
    assert 'data-focus="pin-BG3"' in shown(client_as("counter"), sheet, "connector")
    BenchSheet.objects.update(closed_at=timezone.now())
    assert 'data-focus="pin-BG3"' in shown(client_as("technician"), sheet, "connector")


def test_the_motion_shows_where_the_top_stopped_and_what_was_read(
    client_as: Callable[[str], Client], sheet: BenchSheet, tech: User
) -> None:
    services.sheet_set_complaint(
        sheet=sheet, by=tech, complaint={"motion": "close", "stops_at": "raise-stack", "lamp": None}
    )
    add(
        sheet, tech, check="motion", motion="close", stops_at="raise-lid", lamp="flashing",
        seconds={"release-lid": 3.0},
    )  # fmt: skip
    add(sheet, tech, check="pin", position="BG3", pose="closed", volts=12.4, supply_volts=SUPPLY)
    page = shown(client_as("technician"), sheet, "motion")
    assert page.count('class="d-stall" x="') - 1 == 2  # one is in the key
    assert "stopped here: by the complaint" in page
    assert "stopped here: in the last trial" in page
    assert "<title>slow</title>" in page
    assert page.count("<title>BG3 read released, should be made</title>") == 2  # before opening, after closing


def test_a_trial_that_ran_whole_takes_the_mark_of_the_trial_away(sheet: BenchSheet, tech: User) -> None:
    for stops_at in ("raise-lid", None):
        add(sheet, tech, check="motion", motion="close", stops_at=stops_at, lamp=None, seconds={})
        close = next(one for one in sheet_drawings(sheet, "motion").motions if one.motion == "close")
        stalls = [column.number for column in close.columns if column.stalls]
        assert stalls == ([2] if stops_at else [])


def test_the_top_stands_as_the_sheet_says_with_what_was_read(
    client_as: Callable[[str], Client], sheet: BenchSheet, tech: User
) -> None:
    client = client_as("technician")
    closed = shown(client, sheet, "top")
    sheet = services.sheet_set_pose(
        sheet=sheet, by=tech, pose={**sheet.pose, "lid": "between"}, supply_volts=SUPPLY, ignition_on=True
    )
    add(sheet, tech, check="pin", position="BG4", pose=sheet.pose, volts=0.1, supply_volts=SUPPLY)
    page = shown(client, sheet, "top")
    assert "d-dashed" not in closed.partition("</figure>")[0]
    assert "d-dashed" in page.partition("</figure>")[0]
    assert "<title>BG4 Lid open to the rear, end of travel: read made, should be released</title>" in page
    assert "in between" in page


def test_an_undeclared_top_has_nothing_to_draw(client_as: Callable[[str], Client], job: Job, tech: User) -> None:
    sheet = opened_sheet(job, tech)
    assert sheet.revision is None
    for tab in TABS:
        page = shown(client_as("technician"), sheet, tab)
        assert "not declared yet, so there is nothing to draw" in page
        assert "<svg" not in page


def without_drawing(revision: SystemRevision) -> str:
    text = revision.text[: revision.text.index("\ndrawing:") + 1]
    return re.sub(r"\nrevision: \d+\n", f"\nrevision: {revision.revision + 1}\n", text)


def test_a_system_without_a_drawing_has_a_sentence_and_all_else(
    client_as: Callable[[str], Client], revision: SystemRevision, job: Job, tech: User, owner: User
) -> None:
    services.system_publish(text=without_drawing(revision), source="x.yaml", by=owner)
    sheet = opened_sheet(job, tech)
    assert sheet.revision is not None
    assert system_of(sheet.revision).drawing is None
    client = client_as("technician")
    assert "has no drawing yet" in shown(client, sheet, "top")
    assert "d-cavity" in shown(client, sheet, "connector")
    assert "d-lane" in shown(client, sheet, "motion")
    page = words(client.get("/systems/rht-trio/"))
    assert "The top in its poses" not in page
    assert "d-cavity" in page


def test_names_with_markup_stay_text(client_as: Callable[[str], Client], job: Job, tech: User, owner: User) -> None:
    path = settings.FIXTURES_DIR / "systems" / "rht-trio.yaml"
    nasty = '"<b>Lid</b> & \\"shut\\""'
    text = path.read_text().replace("name: Lid shut\n", f"name: {nasty}\n").replace("title: Closing", f"title: {nasty}")
    services.system_publish(text=text, source="x.yaml", by=owner)
    sheet = opened_sheet(job, tech)
    for tab in TABS:
        page = shown(client_as("technician"), sheet, tab)
        assert "<b>Lid" not in page
        assert "&lt;b&gt;Lid&lt;/b&gt; &amp; &quot;shut&quot;" in page
    assert "<b>Lid" not in words(client_as("technician").get("/systems/rht-trio/"))


def test_an_odd_tab_is_the_first_one(client_as: Callable[[str], Client], sheet: BenchSheet) -> None:
    assert "d-cavity" in shown(client_as("parts"), sheet, "<script>")


def test_the_system_page_shows_poses_connectors_and_motions(
    client_as: Callable[[str], Client], revision: SystemRevision
) -> None:
    page = words(client_as("counter").get("/systems/rht-trio/"))
    assert page.count("d-top") == 2
    assert page.count('class="d-connector"') == 2
    assert page.count('class="d-steps"') == 2


def test_a_frame_of_the_player_says_where_it_stops_and_what_the_module_is_told(revision: SystemRevision) -> None:
    frames = player_frames(system_of(revision), "close", [Fault("BG4", "never-makes")])
    first, last = (render_to_string("diagnostics/drawing/frame.html", {"frame": frames[at]}) for at in (0, -1))
    assert "stops here" not in first
    assert "lamp" not in first
    assert "2. The lid opens to the rear" in last
    assert "stops here" in last
    assert "lamp flashes" in last
    assert "Does not end: BG4 is reported released, made is awaited." in last
    row = last[last.index("BG4</span> Lid open") :].partition("</tr>")[0]
    assert "<td>made</td><td><svg" in row
    assert 'class="d-released"' in row
    assert "</svg> released" in row
    assert "differs" in row
    assert last.count('<span class="tag tag-finding">differs') == 1


def test_a_fragment_stays_light_on_a_full_sheet(
    client_as: Callable[[str], Client], sheet: BenchSheet, tech: User, django_assert_max_num_queries: Any
) -> None:
    client = client_as("technician")
    for _round in range(2):
        for number in range(1, 14):
            add(sheet, tech, check="pin", position=f"BG{number}", pose=sheet.pose, volts=0.1, supply_volts=SUPPLY)
        sheet = services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=SUPPLY, ignition_on=True)
    assert post_check(client, sheet, check="battery", volts="12.6").status_code == 200
    for tab in TABS:
        with django_assert_max_num_queries(11):
            assert len(shown(client, sheet, tab).encode()) < 60_000
