"""Cars that came back: those that somebody said so of, and those that nobody has judged yet."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter

from reports.figures.records import COMEBACK_DAYS, JobFacts


@dataclass(frozen=True, slots=True)
class Candidate:
    """`job` was opened `days` after job `after` on the same car was done."""

    job: int
    after: int
    days: int


def comebacks(jobs: Iterable[JobFacts]) -> dict[int, int]:
    """Job -> the one after which the car came back with it within COMEBACK_DAYS, as somebody said."""
    known = {job.pk: job for job in jobs}
    found = {}
    for job in known.values():
        before = known.get(job.comeback_of or 0)
        if before is not None and (days := _days(before, job)) is not None and days <= COMEBACK_DAYS:
            found[job.pk] = before.pk
    return found


def candidates(jobs: Iterable[JobFacts]) -> list[Candidate]:
    """Jobs of which nobody has said whether they are comebacks, each with the last job done before it on the same car
    within COMEBACK_DAYS; newest first."""
    found = []
    for _car, own in groupby(sorted(jobs, key=attrgetter("car", "opened", "pk")), key=attrgetter("car")):
        mine = list(own)
        for job in mine:
            if job.judged or job.comeback_of is not None:
                continue
            before = [(one.finished, one.pk, days) for one in mine if (days := _days(one, job)) is not None]
            near = [one for one in before if one[2] <= COMEBACK_DAYS]
            if near:
                _finished, after, days = max(near, key=lambda one: (one[0], one[1]))
                found.append((job.opened, Candidate(job.pk, after, days)))
    return [one for _opened, one in sorted(found, key=lambda pair: (pair[0], pair[1].job), reverse=True)]


def _days(before: JobFacts, job: JobFacts) -> int | None:
    """Days from the end of one job to the beginning of the next; None where it had not ended by then."""
    if before.finished is None or before.pk == job.pk or before.finished > job.opened:
        return None
    return (job.opened.date() - before.finished.date()).days
