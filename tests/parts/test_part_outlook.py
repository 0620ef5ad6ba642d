"""A part's page says what will be asked for of it and by which cars, with the numbers of the plan."""

import datetime as dt
import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from diagnostics.models import ProductionRange
from parts.forecast_chart import demand_figure
from parts.models import Part, PlanLine
from parts.services import goods_in, part_supersede
from parts.services.plan import plan_keep
from shop.models import Car, User
from tests.diagnostics.learned import keep_one_range
from tests.parts.planned import DAY, a_plan, line_of, needing, offered

pytestmark = pytest.mark.django_db


@pytest.fixture
def parts(client_as: Callable[[str], Client]) -> Client:
    return client_as("parts")


@pytest.fixture
def part() -> Part:
    return Part.objects.create(number="TW-BGA-1", name="Latch switch")


def shown(client: Client, name: str, part: Part, **headers: str) -> str:
    answer = client.get(reverse(f"parts:{name}", args=[part.pk]), headers=headers)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.content.decode())


def test_the_forecast_has_the_numbers_of_the_plan_in_words_picture_and_table(parts: Client, part: Part) -> None:
    offered(part)
    months = [{"month": f"2026-{6 + at:02d}", "mean": 1.234 + at, "low": at, "high": 3 + at} for at in range(3)]
    line = line_of(a_plan((part, 4), months=months), part)
    told = shown(parts, "part-forecast", part)
    assert line.document["why"].split(":")[0] in told
    assert f"{round(line.document['runs_out'] * 100)} %" in told
    for one in months:
        assert f'<td class="num">{one["mean"]}</td>' in told
        assert f"{one['low']} to {one['high']}" in told
    assert "<svg" in told
    assert f"{sum(one['mean'] for one in months):.1f} expected in the next 3" in told


def test_before_a_plan_both_say_where_one_is_made(parts: Client, part: Part) -> None:
    for name in ("part-forecast", "part-cars"):
        told = shown(parts, name, part)
        assert "says nothing of" in told
        assert reverse("parts:plan") in told


def test_what_moved_after_the_plan_is_said(parts: Client, part: Part, parts_user: User) -> None:
    a_plan((part, 1))
    assert "moved since" not in shown(parts, "part-forecast", part)
    goods_in(part=part, by=parts_user, quantity=1)
    assert "moved since" in shown(parts, "part-forecast", part)


def test_a_superseded_part_shows_the_plan_of_the_one_that_replaced_it(
    parts: Client, part: Part, parts_user: User
) -> None:
    new = Part.objects.create(number="TW-BGA-2", name="Latch switch")
    part_supersede(old=part, new=new, by=parts_user)
    a_plan((new, 2))
    assert "together with TW-BGA-2" in shown(parts, "part-forecast", part)
    assert "together with" not in shown(parts, "part-forecast", new)


def test_cars_stand_under_the_production_range_that_covers_them(parts: Client, part: Part, car: Car) -> None:
    kept = keep_one_range()
    covered = kept.first.replace(day=1)
    Part.objects.filter(pk=part.pk).update(number=kept.part)
    inside = needing(car, position=kept.positions[0], system=kept.system, made=f"{covered:%Y-%m}")
    outside = needing(car, position=kept.positions[0], system=kept.system, made=f"{kept.last.year + 2}-01", fails=0.1)
    a_plan((Part.objects.get(), 1), cars=[inside, outside])
    told = shown(parts, "part-cars", part)
    assert kept.get_absolute_url() in told
    assert "Outside any known production range" in told
    first, second = told.index(kept.get_absolute_url()), told.index("Outside any known")
    assert first < told.index(f"{covered:%Y-%m}") < second
    assert told.count(car.get_absolute_url()) == 2
    ProductionRange.objects.update(state="gone")
    assert kept.get_absolute_url() not in shown(parts, "part-cars", part)


def test_a_car_known_by_its_year_lies_in_a_range_that_holds_the_whole_year(parts: Client, part: Part, car: Car) -> None:
    kept = keep_one_range()
    Part.objects.filter(pk=part.pk).update(number=kept.part)
    mine = needing(car, position=kept.positions[0], system=kept.system, made=str(kept.last.year))
    a_plan((Part.objects.get(), 1), cars=[mine])
    holds = kept.first <= dt.date(kept.last.year, 1, 1) and kept.last >= dt.date(kept.last.year, 12, 1)
    assert (kept.get_absolute_url() in shown(parts, "part-cars", part)) == holds
    ProductionRange.objects.update(first=dt.date(kept.last.year, 1, 1), last=dt.date(kept.last.year, 12, 1))
    assert kept.get_absolute_url() in shown(parts, "part-cars", part)


def test_pieces_by_three_months_are_chances_times_coming(parts: Client, part: Part, car: Car) -> None:
    a_plan((part, 1), cars=[needing(car), needing(car, position="BG4", fails=0.1, comes=1.0, quarters=[0.1, 0, 0, 0])])
    told = shown(parts, "part-cars", part)
    quarters = re.findall(r'<td class="num">(0\.\d\d)</td>', told)
    assert quarters[:4] == ["0.14", "0.03", "0.02", "0.01"]
    assert "<strong>0.20</strong>" in told
    assert "20 %" in told
    assert "50 %" in told


def test_a_plan_from_before_cars_were_kept_asks_for_a_new_one(parts: Client, part: Part) -> None:
    plan = a_plan((part, 1))
    line = line_of(plan, part)
    old = {name: told for name, told in line.document.items() if name != "cars"}
    PlanLine.objects.filter(pk=line.pk).update(document=old)
    assert "says nothing of the cars" in shown(parts, "part-cars", part)


def test_a_part_that_no_car_needs_says_so(parts: Client, part: Part) -> None:
    a_plan((part, 1), cars=[])
    assert "No car known here is expected to need it" in shown(parts, "part-cars", part)


def test_a_car_written_down_twice_is_shown_as_the_one_that_was_kept(
    parts: Client, part: Part, car: Car, counter: User
) -> None:
    double = Car.objects.create(
        vin="0TWAH5903RT000002", maker="Halden", model="Brise", made_on=dt.date(2009, 3, 1), merged_into=car
    )
    a_plan((part, 1), cars=[needing(double)])
    told = shown(parts, "part-cars", part)
    assert f'href="{car.get_absolute_url()}"' in told
    assert f'href="{double.get_absolute_url()}"' not in told


def test_both_are_fragments_of_the_parts_page(parts: Client, part: Part) -> None:
    a_plan((part, 1), cars=[])
    page = parts.get(reverse("parts:part", args=[part.number])).content.decode()
    for name in ("part-forecast", "part-cars"):
        assert reverse(f"parts:{name}", args=[part.pk]) in page
        assert "<html" not in shown(parts, name, part, HX_Request="true")


def test_the_plan_keeps_the_cars_of_each_part(part: Part) -> None:
    plan = a_plan((part, 1))
    assert line_of(plan, part).document["cars"] == []
    assert plan_keep(as_of=DAY, months=12, whole=plan.document, lines=[], by=None).pk != plan.pk


def test_the_picture_marks_each_month_once() -> None:
    figure = demand_figure([("2026-04", 2.0), ("2026-05", 0.0)], [("2026-06", 0.7, 0, 2), ("2026-07", 0.4, 0, 1)])
    (axes,) = figure.axes
    assert [bar.get_height() for bar in axes.patches] == [2.0, 0.0]
    assert axes.lines[0].get_xydata().tolist() == [[2, 0.7], [3, 0.4]]
    assert [one.get_text() for one in axes.get_xticklabels()] == ["2026-07"]
    with pytest.raises(ValueError, match="no month"):
        demand_figure([], [])
