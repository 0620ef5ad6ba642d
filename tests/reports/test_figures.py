"""What the owner reads of the shop: counted from what was recorded, with the jobs behind each number."""

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from reports.figures.comebacks import Candidate, candidates, comebacks
from reports.figures.hits import Suspected, judged
from reports.figures.records import Facts, JobFacts, Move, Span
from reports.figures.specs import KEYS
from reports.figures.standing import Stretch, quartiles, stretches
from reports.figures.tables import spec_of, table_of
from shop import services
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Job, Stage, User
from shop.services.comebacks import comeback_judge

NOW = dt.datetime(2026, 6, 15, 12, tzinfo=dt.UTC)
SPAN = Span(2026 * 12, 2026 * 12 + 5)


def _day(month: int, day: int = 1) -> dt.datetime:
    return dt.datetime(2026, month, day, 9, tzinfo=dt.UTC)


def _job(pk: int, opened: dt.datetime, finished: dt.datetime | None = None, **more: Any) -> JobFacts:
    return JobFacts(pk, more.pop("car", 1), "rht-trio", opened, finished, **more)


def _cells(key: str, *jobs: JobFacts, **more: Any) -> list[str]:
    spec = spec_of(key)
    assert spec is not None
    return [cell.words for cell in table_of(spec, Facts(SPAN, NOW, jobs, **more), "month").total.cells]


class TestStanding:
    def test_each_stage_and_hold_has_its_days_and_the_last_goes_on(self) -> None:
        moves = [
            Move(1, _day(1, 1), "booked"),
            Move(1, _day(1, 3), "here"),
            Move(1, _day(1, 4), "part", hold=True),
            Move(1, _day(1, 9), "done"),
        ]
        found = [(one.what, one.days, one.ended) for one in stretches(moves, _day(1, 19))]
        assert found == [
            ("booked", 2, True), ("here", 6, True), ("done", 10, False), ("bench", 1, True), ("part", 5, True),
        ]  # fmt: skip

    def test_a_job_that_is_taken_back_is_the_benchs_again(self) -> None:
        moves = [
            Move(1, _day(1, 1), "here"),
            Move(1, _day(1, 2), "customer", hold=True),
            Move(1, _day(1, 3), "done"),
            Move(1, _day(1, 5), "mending"),
        ]
        last = stretches(moves, _day(1, 6))[-1]
        assert (last.what, last.hold, last.days) == ("bench", True, 1)

    def test_what_still_stands_is_not_left_out(self) -> None:
        """Kaplan and Meier by hand: after 1 day 3/4 stand, after 2 days 1/2; 3 days are only known to be passed."""
        known = [Stretch(i, "here", False, NOW, days, i < 2) for i, days in enumerate((1.0, 2.0, 3.0, 3.0))]
        found = quartiles(known)
        assert (found.lower, found.median, found.upper, found.standing) == (1.0, 2.0, None, 2)


class TestComebacks:
    def test_a_car_here_again_within_90_days_is_asked_about(self) -> None:
        jobs = [_job(1, _day(1), _day(1, 5)), _job(2, _day(2)), _job(3, _day(2), car=2)]
        assert candidates(jobs) == [Candidate(2, 1, 27)]

    def test_what_was_judged_or_is_too_long_ago_is_not(self) -> None:
        assert not candidates([_job(1, _day(1), _day(1, 5)), _job(2, _day(2), judged=True)])
        assert not candidates([_job(1, _day(1), _day(1, 5)), _job(2, _day(4, 6))])

    def test_one_that_is_said_counts_against_the_job_before(self) -> None:
        jobs = [
            _job(1, _day(1), _day(1, 5)),
            _job(2, _day(2), _day(2, 3), comeback_of=1, cause="same", judged=True),
            _job(3, _day(5), _day(5, 20), car=3),
        ]
        assert comebacks(jobs) == {2: 1}
        assert _cells("right", *jobs) == ["2", "50 % (12 to 88)", "1", "–"], "the third is not 90 days old"
        assert _cells("comebacks", *jobs, causes={"same": "the same", "": "unsaid"}) == ["1", "1", "–"]

    def test_a_job_that_nobody_judged_is_in_no_share(self) -> None:
        """Of three jobs two are settled: after the first the car did not come again, after the second it came back."""
        jobs = [
            _job(1, _day(1), _day(1, 5)),
            _job(2, _day(1), _day(1, 6), car=2),
            _job(3, _day(2), car=2, comeback_of=2, cause="same", judged=True),
            _job(4, _day(1), _day(1, 7), car=3),
            _job(5, _day(2), car=3),
        ]
        assert _cells("right", *jobs) == ["3", "50 % (12 to 88)", "1", "1"]
        spec = spec_of("right")
        assert spec is not None
        assert "whether the car came back: 1 jobs" in table_of(spec, Facts(SPAN, NOW, tuple(jobs)), "month").notes[0]
        settled = [*jobs[:-1], _job(5, _day(2), car=3, judged=True)]
        assert _cells("right", *settled) == ["3", "67 % (25 to 92)", "1", "–"]
        assert _cells("right", *jobs[3:]) == ["1", "–", "–", "1"], "where nothing is judged there is no share"


class TestHits:
    def test_the_first_suspect_was_right(self) -> None:
        place, brier = judged([Suspected(("BG1", "open"), 0.8), Suspected(("BG2", "open"), 0.2)], {("BG1", "open")})
        assert (place, brier) == (1, pytest.approx(0.2**2 + 0.2**2))

    def test_what_nobody_suspected_was_wrong(self) -> None:
        assert judged([Suspected(("BG1", "open"), 1.0)], {("GP1", "dead")}) == (0, 2.0)


def test_hours_say_of_how_many_jobs_they_are_not_known() -> None:
    jobs = (
        _job(1, _day(1), _day(2), sold=Decimal(6), planned=240, worked=4 * 3600.0),
        _job(2, _day(1), _day(2), worked=2 * 3600.0),
    )
    assert _cells("hours", *jobs) == ["2", "6.0", "4.0", "6.0", "1.50"]
    spec = spec_of("hours")
    assert spec is not None
    assert "1 have no approved labour" in table_of(spec, Facts(SPAN, NOW, jobs), "month").notes[0]


def test_cars_done_count_once_and_stand_from_taken_in_to_done() -> None:
    jobs = [_job(1, _day(1), _day(1, 11)), _job(2, _day(1), _day(1, 5))]
    moves = (Move(1, _day(1), "booked"), Move(1, _day(1, 3), "here"))
    assert _cells("throughput", *jobs, moves=moves) == ["1", "2", "6.0"]


@pytest.fixture
def again(job: Job, car: Car, tech: User) -> Job:
    """The car is here again 40 days after a job was done."""
    long_ago = timezone.now() - dt.timedelta(days=140)
    Job.objects.filter(pk=job.pk).update(
        stage=Stage.GONE, opened_at=long_ago - dt.timedelta(days=3), finished_at=long_ago
    )
    job.refresh_from_db()
    second = services.job_open(car=car, by=tech, title="Stops again")
    Job.objects.filter(pk=second.pk).update(opened_at=long_ago + dt.timedelta(days=40))
    second.refresh_from_db()
    return second


class TestJudging:
    def test_it_is_kept_with_its_cause_once_and_in_the_trail(self, job: Job, again: Job, tech: User) -> None:
        comeback_judge(job=again, by=tech, after=job, cause="part")
        again.refresh_from_db()
        assert (again.comeback_of, again.comeback_cause) == (job, "part")
        assert again.trail.filter(kind="job.comeback").count() == 1
        with pytest.raises(Conflict, match="judged"):
            comeback_judge(job=again, by=tech, after=None)

    def test_no_comeback_is_an_answer_too(self, client_as: Callable[[str], Client], again: Job) -> None:
        client = client_as("owner")
        assert "Did these cars come back?" in client.get("/figures/comebacks/").content.decode()
        assert client.post(f"/jobs/{again.pk}/comeback/").status_code == 302
        assert "Did these cars come back?" not in client.get("/figures/comebacks/").content.decode()

    def test_what_cannot_be_is_refused(self, job: Job, again: Job, tech: User, parts_user: User) -> None:
        for after, cause in ((job, "weather"), (again, "same")):
            with pytest.raises(ShopError):
                comeback_judge(job=again, by=tech, after=after, cause=cause)
        with pytest.raises(Refused):
            comeback_judge(job=again, by=parts_user, after=job, cause="same")
        again.refresh_from_db()
        assert again.comeback_judged_at is None


@pytest.mark.parametrize("key", KEYS)
def test_every_figure_is_there_by_month_and_by_top_system(key: str) -> None:
    spec = spec_of(key)
    assert spec is not None
    assert {"month", "system"} <= set(spec.by)


@pytest.mark.parametrize("key", KEYS)
def test_pages_are_light_and_ask_little(client_as: Callable[[str], Client], again: Job, key: str) -> None:
    client = client_as("owner")
    client.get("/figures/")
    for address in ("/figures/", f"/figures/{key}/", f"/figures/{key}/?by=system"):
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(address)
        assert answer.status_code == 200
        assert len(queries) < 12, [query["sql"] for query in queries]
        assert len(answer.content) < 150_000


def test_behind_a_number_are_its_jobs(client_as: Callable[[str], Client], job: Job, again: Job) -> None:
    words = client_as("owner").get("/figures/throughput/jobs/", {"row": "all", "column": "jobs"}).content.decode()
    assert job.number in words
    assert again.number not in words


def test_a_table_is_a_file_too(client_as: Callable[[str], Client], again: Job) -> None:
    answer = client_as("owner").get("/figures/throughput/", {"as": "csv"})
    assert answer["Content-Type"].startswith("text/csv")
    assert "All,1,1,1,1" in answer.content.decode()


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("from=2026-05&to=2026-01", "expected the earlier month first"),
        ("from=2006-01&to=2025-12", "expected at most 36"),
        ("from=2026-13", "is no month; expected year and month"),
        ("system=nothing", "There is no top system nothing"),
    ],
)
@pytest.mark.parametrize("page", ["", "stages/", "right/jobs/"])
def test_what_cannot_be_asked_is_told(
    client_as: Callable[[str], Client], owner: User, page: str, asked: str, words: str
) -> None:
    answer = client_as("owner").get(f"/figures/{page}?{asked}")
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_months_without_data_say_what_must_be_recorded(client_as: Callable[[str], Client], owner: User) -> None:
    words = client_as("owner").get("/figures/hours/?from=1990-01&to=1990-03").content.decode()
    assert "It takes jobs that are done, with an approved estimate" in words
