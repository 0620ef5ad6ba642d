"""Hypotheses that one kind of evidence cannot tell apart.

To a motion an open wire, a pulled plug and a dead contact are the same: the module is told nothing; and two cylinders
of one step stop it alike. So what a motion does is computed once for each class of hypotheses that look alike to it,
a part of the hundreds of thousands, and each likelihood over all hypotheses is a gather from there.

Evidence of a motion is made of *looks*: chances that are products over sites (a step's reports are all there, all its
drives move). What the faults of a site do to a look is a factor on it, so two things that multiply every look by the
same are alike, wherever they are. Where a sound site makes a look impossible there is no factor: there the chance
itself counts, and the site. Behind a look that fails for sure nothing is looked at any more. The classes are exact: all
that is looked at has the same value in a class, but for rounding.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from diagnostics.engine.hypotheses import fault_sets, rank, sorted_rows

if TYPE_CHECKING:
    from diagnostics.engine.compiled import Compiled, Site

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]


@dataclass(frozen=True, eq=False, slots=True)
class Alike:
    """`codes` (H,) the class of each hypothesis. `places` (C,) of each class one hypothesis that stands for it."""

    codes: Ints
    places: Ints


@dataclass(frozen=True, slots=True)
class Part:
    """What one part of an entry says: the classes to which it speaks, and (C,) its chance in each. The same `key`, the
    same table."""

    which: Alike
    key: Hashable
    table: Floats


def spread(parts: Sequence[Part], subset: Ints | slice) -> Floats:
    """(m,) product of what the parts of an entry say, under the hypotheses at these places."""
    found = np.ones(1)
    for part in parts:
        found = found * part.table[part.which.codes[subset]]
    return found


@dataclass(frozen=True, slots=True)
class _Group:
    """Faults (rising) that act together, and (local sets, looks) what each local set of them does."""

    faults: tuple[int, ...]
    does: Floats


@dataclass(frozen=True, slots=True)
class Look:
    """`tables`: (site, (local sets,)); their product over sites is the chance. `gate`: where it is 0, nothing behind
    this look matters."""

    tables: Sequence[tuple[str, Floats]]
    gate: bool = False


@dataclass(frozen=True, slots=True)
class _Rows:
    """What the rows of an effect are: the looks (first as factors, then as chances of one site alone), and of each row
    the number of its look."""

    looks: Sequence[Look]
    of_look: Ints

    def settled(self, does: Floats) -> Floats:
        """(local sets, rows) without what lies behind a gate that is shut for sure."""
        neutral = np.where(np.arange(len(self.of_look)) < len(self.looks), 1.0, 0.0)
        for number, look in enumerate(self.looks):
            if look.gate:
                shut = np.flatnonzero(does[:, number] == 0.0)
                behind = np.flatnonzero(self.of_look > number)
                does[np.ix_(shut, behind)] = neutral[behind]
        return does


def alike(model: "Compiled", looks: Iterable[Look]) -> Alike:
    """The classes of evidence that is made of these looks, and of nothing else."""
    rows, at = _effects(model, list(looks))
    groups = list(_groups(model, at, rows))
    acts = np.zeros(model.sets.n + 1, dtype=np.int64)
    known: dict[bytes, int] = {}
    numbers = []
    for group in groups:
        # The first row of every group is that of no fault, and number 0.
        number = np.array([known.setdefault(row.tobytes(), len(known)) for row in group.does])
        acts[list(group.faults)] = number[1 : len(group.faults) + 1]
        numbers.append(number)
    base = max(len(known), 1)
    key = np.zeros(len(model.sets), dtype=np.int64)
    for column in model.sets.members.T:
        key *= base
        key += acts[column]
    for group, number in zip(groups, numbers, strict=True):
        crowd = model.crowd(group.faults)
        key[crowd.places] = number[crowd.local] * base + acts[crowd.besides]
    return _numbered(key, base, model.sets.k)


def _effects(model: "Compiled", looks: Sequence[Look]) -> tuple[_Rows, dict[str, Floats]]:
    """By site (rows, local sets): first for each look the factor on it, 1 where the site has no part in it; then for
    each site that makes a look impossible while sound its chance there, 0 for all other sites."""
    factors: list[dict[str, Floats]] = []
    alone: list[tuple[int, str, Floats]] = []
    for number, look in enumerate(looks):
        here: dict[str, Floats] = {}
        for site, table in look.tables:
            code = model.sites[site].code
            here[code] = here.get(code, 1.0) * table
        factors.append({code: table / table[0] for code, table in here.items() if table[0] > 0.0})
        alone += [(number, code, table) for code, table in here.items() if table[0] <= 0.0]
    found = {}
    for code in dict.fromkeys([*(code for row in factors for code in row), *(code for _look, code, _table in alone)]):
        nothing = np.zeros(len(model.sites[code].sets))
        rows = [row.get(code, nothing + 1.0) for row in factors]
        found[code] = np.array([*rows, *(table if own == code else nothing for _look, own, table in alone)])
    return _Rows(looks, np.array([*range(len(looks)), *(number for number, _code, _table in alone)])), found


def _numbered(key: NDArray[np.int64], base: int, k: int) -> Alike:
    """Classes from keys: each up to k numbers below `base`, in any order and with zeros anywhere between them."""
    present, codes = _present(key, base**k)
    digits = np.array([present // base**place % base for place in range(k)]).T
    ordered = np.zeros(len(present), dtype=np.int64)
    for column in sorted_rows(digits).T:
        ordered = ordered * base + column
    _kept, number = _present(ordered, base**k)
    codes = number[codes]
    places = np.empty(int(codes.max()) + 1, dtype=np.int32)
    places[codes[::-1]] = np.arange(len(codes) - 1, -1, -1, dtype=np.int32)  # the first of each class
    return Alike(codes, places)


def _present(key: NDArray[np.int64], n: int) -> tuple[NDArray[np.int64], Ints]:
    """The different keys below n in rising order, and the number among them of each entry."""
    seen = np.zeros(n, dtype=bool)
    seen[key] = True
    return np.flatnonzero(seen), np.take(np.cumsum(seen, dtype=np.int32) - 1, key)


def _groups(model: "Compiled", at: Mapping[str, Floats], rows: _Rows) -> Iterable[_Group]:
    """Sites that share a fault which matters at both belong together; every other site stands alone."""
    grown: list[tuple[set[int], list[str]]] = []
    for site, tables in at.items():
        faults, sites = _that_matter(model.sites[site], tables, model.sets.k), [site]
        for other in [other for other in grown if other[0] & faults]:
            grown.remove(other)
            faults, sites = faults | other[0], sites + other[1]
        if faults:
            grown.append((faults, sites))
    for faults, sites in grown:
        yield _group(model, tuple(sorted(faults)), {site: at[site] for site in sites}, rows)


def _that_matter(site: "Site", tables: Floats, k: int) -> set[int]:
    """Faults that change a value of the tables (tables, local sets) when they join some local set."""
    n = len(site.faults)
    local = fault_sets(n, k).members if n else np.empty((1, k), dtype=np.int16)
    found = set()
    for own, fault in enumerate(site.faults):
        joined = np.flatnonzero((local == own).any(axis=1))
        before = rank(sorted_rows(np.where(local[joined] == own, n, local[joined])), n)
        if not np.array_equal(tables[:, joined], tables[:, before]):
            found.add(fault)
    return found


def _group(model: "Compiled", faults: tuple[int, ...], at: Mapping[str, Floats], rows: _Rows) -> _Group:
    members = np.array([*faults, model.sets.n])[fault_sets(len(faults), model.sets.k).members]
    places = rank(members, model.sets.n)
    tables = np.array([table[:, model.codes(site, places)] for site, table in at.items()])
    factors = len(rows.looks)
    does = np.concatenate([tables[:, :factors].prod(axis=0), tables[:, factors:].sum(axis=0)]).T
    return _Group(faults, np.ascontiguousarray(np.round(rows.settled(does), 12)))
