"""The life chart of a car: what stood where over the years, what failed, was replaced, how far the car had run; and
the production ranges that it falls in."""

import datetime as dt
from itertools import pairwise
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.charts.lives import LEFT, RIGHT, WIDTH, Life, Place, life_chart
from diagnostics.models import ProductionRange, RangeState, Unit, Work
from diagnostics.selectors.lives import lives_of_car, ranges_of_car
from shop import services
from shop.models import Car, Job, User
from tests.diagnostics.bench import publish
from tests.diagnostics.learned import keep_one_range

FIRST, LAST = dt.date(2014, 6, 1), dt.date(2024, 6, 1)
DAYS = st.dates(dt.date(2010, 1, 1), dt.date(2030, 1, 1))


def test_a_unit_that_came_off_half_way_ends_half_way() -> None:
    middle = FIRST + (LAST - FIRST) / 2
    place = Place("BG3", (Life(FIRST, middle), Life(middle)), (middle,))
    (row,) = life_chart([place], [], FIRST, LAST).rows
    half = LEFT + (WIDTH - LEFT - RIGHT) / 2
    assert [bar.now for bar in row.bars] == [False, True]
    assert row.bars[0].x == LEFT
    assert row.bars[0].x + row.bars[0].width == pytest.approx(half, abs=0.5)
    assert row.bars[1].x == pytest.approx(half, abs=0.5)
    assert row.replaced == row.failed == (row.bars[1].x,)


def test_the_odometer_rises_where_the_car_ran_and_has_its_lane_below_all_rows() -> None:
    chart = life_chart([Place("BG3", (Life(FIRST),))], [(LAST, 90_000), (dt.date(2016, 1, 1), 30_000)], FIRST, LAST)
    (x1, y1), (x2, y2) = chart.dots
    assert (x1 < x2, y1 > y2, chart.km) == (True, True, 90_000)
    assert chart.rows[0].y < chart.odometer_top < y2 < y1 < chart.bottom
    assert life_chart([], [], FIRST, LAST).odometer == ""


@pytest.mark.parametrize(("years", "step"), [(5, 1), (20, 2), (60, 5), (120, 10)])
def test_years_are_written_as_close_as_can_be_read(years: int, step: int) -> None:
    chart = life_chart([], [], dt.date(2000, 1, 1), dt.date(2000 + years, 1, 1))
    written = [year for _x, year in chart.years]
    assert {b - a for a, b in pairwise(written)} == {step}


@given(st.lists(st.tuples(DAYS, st.none() | DAYS), max_size=5), st.lists(DAYS, max_size=4), DAYS, DAYS)
def test_nothing_is_drawn_outside_the_chart(
    lives: list[tuple[dt.date, dt.date | None]], failures: list[dt.date], first: dt.date, last: dt.date
) -> None:
    place = Place("BG3", tuple(Life(*sorted(one) if one[1] else one) for one in lives), tuple(failures))  # type: ignore[type-var,arg-type]
    chart = life_chart([place], [(day, 5) for day in failures], first, last)
    (row,) = chart.rows
    xs = [*row.replaced, *row.failed, *(x for x, _year in chart.years), *(x for x, _y in chart.dots)]
    assert all(LEFT <= x <= WIDTH - RIGHT for x in xs)
    assert all(bar.x >= LEFT and bar.x + bar.width <= WIDTH for bar in row.bars)
    assert all(bar.width >= 2 for bar in row.bars), "the shortest life is seen"
    assert all(0 < y < chart.height for y in (row.y, *(y for _x, y in chart.dots)))


def _history(job: Job, tech: User) -> None:
    """BG3 failed and was replaced in 2020; on BG4 the new one went on as a precaution."""
    for position, mode in (("BG3", "stays-made"), ("BG4", Work.PRECAUTION)):
        day = dt.date(2020, 5, 1)
        old = Unit.objects.create(
            car=job.car, position=position, part="TW-OLD-1", removed_on=day, removed_job=job, removed_why="stays made"
        )
        new = Unit.objects.create(car=job.car, position=position, part="TW-NEW-1", fitted_on=day, fitted_job=job)
        Work.objects.create(
            job=job, position=position, kind="replace", mode=mode, old_unit=old, new_unit=new, by=tech,
            at=dt.datetime(2020, 5, 1, 12, tzinfo=dt.UTC),
        )  # fmt: skip


@pytest.mark.django_db
def test_the_file_tells_what_was_exchanged_when_and_at_what_distance(
    car: Car, job: Job, tech: User, owner: User, client_as: Any
) -> None:
    publish(owner)
    _history(job, tech)
    services.odometer_add(car=car, by=tech, km=61_000, read_on=dt.date(2020, 4, 1))
    services.odometer_add(car=car, by=tech, km=90_000, read_on=dt.date(2023, 1, 1))
    lives = lives_of_car(car, dt.date(2024, 6, 1))
    told = [(row.position, row.part, row.start, row.end, row.km, row.age) for row in lives.rows]
    assert told[:2] == [
        ("BG3", "TW-OLD-1", None, dt.date(2020, 5, 1), 61_000, 5),
        ("BG3", "TW-NEW-1", dt.date(2020, 5, 1), None, 90_000, 4),
    ]
    assert [(one.position, one.words, one.km) for one in lives.failures] == [("BG3", "stays made", 61_000)]
    assert {row.position: len(row.failed) for row in lives.chart.rows if row.failed} == {"BG3": 1}
    assert {row.position: len(row.bars) for row in lives.chart.rows}["BG1"] == 1, "the original stands all the time"
    client: Client = client_as("parts")
    page = client.get(f"/cars/{car.pk}/lives/").content.decode()
    assert 'class="lives-failed"' in page
    assert "61,000 km" in page
    assert f'href="/jobs/{job.pk}/"' in page
    part = client.get(f"/cars/{car.pk}/lives/", headers={"HX-Request": "true"}).content.decode()
    assert part.startswith('<div id="car-lives"')


@pytest.mark.django_db
def test_work_at_a_place_that_nobody_declared_is_on_the_chart(car: Car, job: Job, tech: User) -> None:
    Work.objects.create(job=job, position="ZZ9", kind="adjust", mode="out-of-adjustment", by=tech, at=timezone.now())
    assert [row.position for row in lives_of_car(car).chart.rows] == ["ZZ9"]


@pytest.mark.django_db
def test_the_chart_costs_no_more_queries_with_a_longer_life(car: Car, job: Job, tech: User, client_as: Any) -> None:
    client: Client = client_as("owner")

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/cars/{car.pk}/lives/")
        return len(queries)

    services.odometer_add(car=car, by=tech, km=1, read_on=dt.date(2015, 1, 1))
    few = cost()
    _history(job, tech)
    assert cost() == few < 12


@pytest.mark.django_db
def test_a_car_says_which_production_ranges_it_falls_in(car: Car, owner: User, client_as: Any) -> None:
    publish(owner)
    row: ProductionRange = keep_one_range()
    client: Client = client_as("technician")
    address = f"/cars/{car.pk}/ranges/"
    assert "No production range is known that this car falls in." in client.get(address).content.decode()
    for made_on, inside in (("2000-12-01", 0), ("2001-01-01", 1), ("2002-12-01", 1), ("2003-01-01", 0)):
        Car.objects.filter(pk=car.pk).update(made_on=made_on)
        car.refresh_from_db()
        assert len(ranges_of_car(car)) == inside, made_on
    Car.objects.filter(pk=car.pk).update(made_on="2001-06-01")
    page = client.get(address).content.decode()
    assert f'href="/ranges/{row.pk}/"' in page or row.get_absolute_url() in page
    assert "The original part is still there." in page
    for position in row.positions:
        Unit.objects.create(car=car, position=position, part="X", fitted_on=dt.date(2010, 1, 1))
    assert "the range says nothing of it" in client.get(address).content.decode()
    ProductionRange.objects.update(state=RangeState.GONE)
    assert not ranges_of_car(Car.objects.get())


@pytest.mark.django_db
def test_a_car_known_by_its_year_is_put_in_no_range(car: Car, owner: User, client_as: Any) -> None:
    publish(owner)
    keep_one_range()
    Car.objects.filter(pk=car.pk).update(made_on="2001-01-01", year_only=True)
    assert "cannot be said" in client_as("parts").get(f"/cars/{car.pk}/ranges/").content.decode()
