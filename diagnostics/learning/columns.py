"""Observations of units as columns: what a file or a database gives, before anything is made of it."""

from dataclasses import dataclass, fields, replace

import numpy as np

from diagnostics.learning.records import MIDDLE_OF_MONTH, MIDDLE_OF_YEAR, Bools, Floats, Ints

ALL_GOOD = (1 << 31) - 1
"""Seen good in every mode."""
UNKNOWN_SINCE = 0
"""In `since_day` of an original unit: its clock runs from the production month."""


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """One entry an observation of one unit; all arrays of one length n. Days are proleptic ordinals
    (`date.toordinal`), `…_code` indices into the tuple of names beside them.

    `unit` is the same number in every observation of one unit, `car` in those of one car. `month`, `year_only`: as in
    records.Spells. `since_day`: the day on which the unit was fitted, UNKNOWN_SINCE for an original. `known_day`: the
    day on which the car's history begins, 0: since it was made. `day`: of the observation. `good`: the modes it was
    seen good in, bit i for modes[i]; ALL_GOOD for all. `failed`: index into modes, -1 for none. `mended`: it failed and
    stayed fitted, its clock in this mode starts anew. `row`: for messages, the row of a file (0: not from a file).
    `checks`: how many checks stand behind the observation.
    """

    unit: Ints
    car: Ints
    system_code: Ints
    position_code: Ints
    part_code: Ints
    revision_code: Ints
    month: Ints
    year_only: Bools
    climate: Ints
    since_day: Ints
    known_day: Ints
    day: Ints
    good: Ints
    failed: Ints
    mended: Bools
    checks: Ints
    row: Ints
    systems: tuple[str, ...]
    positions: tuple[str, ...]
    parts: tuple[str, ...]
    revisions: tuple[str, ...]
    modes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.unit)

    def take(self, rows: Ints) -> "Observations":
        """These entries, with the same names."""
        columns = {name: getattr(self, name)[rows] for name in COLUMNS}
        return replace(self, **columns)

    @property
    def original(self) -> Bools:
        return np.asarray(self.since_day == UNKNOWN_SINCE)

    @property
    def since(self) -> Floats:
        """Ordinal of the day from which the unit's age counts: of an original the middle of its production month (of
        its year, where only that is known)."""
        year, month = np.divmod(self.month, 12)
        first = _first_day(year, month).astype(float)
        middle = np.where(self.year_only, MIDDLE_OF_YEAR, MIDDLE_OF_MONTH)
        return np.where(self.original, first + middle, self.since_day.astype(float))


def _first_day(year: Ints, month: Ints) -> Ints:
    months = (year - 1970) * 12 + month
    days = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return np.asarray(days + _EPOCH)


_EPOCH = 719163  # date(1970, 1, 1).toordinal()

COLUMNS = tuple(one.name for one in fields(Observations))[:-5]
"""Names of the arrays: all fields but the five tuples of names."""
