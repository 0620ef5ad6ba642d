"""A top system prepared for inference: its fault sets, and per site the local set of each, as arrays.

A *site* is a place where observations meet faults: a sensor with its path, trigger and input of the module, or
another position with its own faults. Two switches in series on one pin are one site, found under both codes. What a
check shows there depends on the local fault set alone, so it is a small table. Prepared once per system and size of
set, kept for the few systems that a shop works on.
"""

from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from threading import Lock
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from diagnostics.engine.effects import TWIN, Modes
from diagnostics.engine.faults import faults_of, repair_of
from diagnostics.engine.hypotheses import Crowd, FaultSets, count, crowd_of, fault_sets, rank, sorted_rows
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import SENSORS, TopSystem
from diagnostics.engine.system.series import path_of

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]
Subset = NDArray[np.integer] | slice
ALL = slice(None)
Kept = TypeVar("Kept")


@dataclass(frozen=True)
class Site:
    """`code`: its position, of two switches in series the one with the pin. `faults`: indices into the system's faults.
    `sets`: the modes of each local fault set, in the order of the codes."""

    code: str
    faults: tuple[int, ...]
    sets: tuple[Modes, ...]

    def table(self, shows: Callable[[Modes], float]) -> Floats:
        """(local sets,) of a chance that depends on the modes alone."""
        return np.array([shows(modes) for modes in self.sets])


_MOST_LATELY = 4


@dataclass
class Compiled:
    """`sets`: the hypotheses (H of them). `faults`: what their members mean. `sites`: by position code. `most`: faults
    at once that were asked for; the sets hold fewer where the system is too large for that."""

    system: TopSystem
    faults: tuple[Fault, ...]
    sets: FaultSets
    sites: Mapping[str, Site]
    most: int
    _digits: dict[str, tuple[Ints, Ints]] = field(default_factory=dict)
    _crowds: dict[tuple[int, ...], Crowd] = field(default_factory=dict)
    _cache: dict[object, object] = field(default_factory=dict)
    _lately: dict[object, Floats] = field(default_factory=dict)

    @cached_property
    def sensors(self) -> frozenset[str]:
        return frozenset(self.system.sensors())

    def codes(self, site: str, subset: Subset = ALL) -> Ints:
        """(m,) the local fault set at a site of the hypotheses at these places.

        Not kept: for a few thousand places it costs less than to hold it for all. What is asked of all hypotheses goes
        by `crowd` or by classes (alike.py).
        """
        own = self.sites[site]
        if own.code not in self._digits:
            self._digits[own.code] = _digits(own.faults, self.sets)
        digit, table = self._digits[own.code]
        columns = self.sets.members.T
        key = digit[columns[0][subset]]
        for column in columns[1:]:
            key = key * (len(own.faults) + 1) + digit[column[subset]]
        found: Ints = table[key]
        return found

    def crowd(self, faults: tuple[int, ...]) -> Crowd:
        """The hypotheses with two or more of these faults (rising). Made once for each different few."""
        if faults not in self._crowds:
            self._crowds[faults] = crowd_of(self.sets, faults)
        return self._crowds[faults]

    def kept(self, key: object, make: Callable[[], Kept]) -> Kept:
        """What depends on the system alone, made once."""
        if key not in self._cache:
            self._cache[key] = make()
        return self._cache[key]  # type: ignore[return-value]

    def lately(self, key: object, make: Callable[[], Floats]) -> Floats:
        """A large likelihood that one diagnosis asks for several times; the last few are kept."""
        found = self._lately.pop(key, None)
        self._lately[key] = found = make() if found is None else found
        for old in list(self._lately)[:-_MOST_LATELY]:
            self._lately.pop(old, None)
        return found

    @cached_property
    def repairs(self) -> tuple[str, ...]:
        """Key of the repair of each fault."""
        return tuple(repair_of(self.system, fault).key for fault in self.faults)

    @cached_property
    def repair_names(self) -> tuple[str, ...]:
        """The different repairs, each once."""
        return tuple(dict.fromkeys(self.repairs))

    @cached_property
    def repair_twice(self) -> tuple[Ints, Ints, Floats]:
        """The hypotheses in which one repair mends several faults: their places, the repair, how many faults beyond
        the first."""
        found = []
        for number, name in enumerate(self.repair_names):
            crowd = self.crowd(tuple(i for i, repair in enumerate(self.repairs) if repair == name))
            several = fault_sets(self.repairs.count(name), self.sets.k).size[crowd.local]
            found.append((crowd.places, np.full(len(crowd.places), number, dtype=np.int32), several - 1.0))
        places, numbers, beyond = (np.concatenate(column) for column in zip(*found, strict=True))
        return places, numbers, beyond


def _digits(faults: tuple[int, ...], sets: FaultSets) -> tuple[Ints, Ints]:
    """How to read the local set off the members of a hypothesis.

    (n + 1,) a digit for each fault, 0 for those of other sites, and the code of the local set for each number that k
    digits make; rising members have rising digits, with zeros anywhere between them.
    """
    n, k = len(faults), sets.k
    digit = np.zeros(sets.n + 1, dtype=np.int32)
    digit[list(faults)] = np.arange(1, n + 1)
    numbers = np.indices((n + 1,) * k).reshape(k, -1).T
    rising = sorted_rows(np.where(numbers == 0, n, numbers - 1))
    known = np.all((np.diff(rising, axis=1) > 0) | (rising[:, 1:] == n), axis=1)
    return digit, np.where(known, rank(rising, n), 0).astype(np.int32)


def _local_sets(modes: list[str], k: int) -> tuple[Modes, ...]:
    local = fault_sets(len(modes), k)
    return tuple(frozenset(modes[m] for m in row if m < len(modes)) for row in local.members)


def _sites(system: TopSystem, faults: tuple[Fault, ...], k: int) -> dict[str, Site]:
    wired = system.wired()
    found: dict[str, Site] = {}
    for code, position in system.positions.items():
        if position.kind in SENSORS and code not in wired:
            continue
        path = path_of(system, code)
        if path[0] not in found:
            own = tuple(i for i, f in enumerate(faults) if f.position in path or f.input in path)
            modes = [TWIN + faults[i].mode if faults[i].position in path[1:] else faults[i].mode for i in own]
            found[path[0]] = Site(path[0], own, _local_sets(modes, k))
        found[code] = found[path[0]]
    return found


MOST_SETS = 1_000_000
"""So many sets (of three: 181 faults) are weighed at most: beyond, an answer would keep a person waiting and the arrays
would crowd the memory. What larger sets can weigh is bounded then (leftout.py)."""


def compile_system(system: TopSystem, max_faults: int) -> Compiled:
    faults, size = faults_of(system), max_faults
    while size > 1 and count(len(faults), size) > MOST_SETS:
        size -= 1
    return Compiled(system, faults, fault_sets(len(faults), size), _sites(system, faults, max_faults), max_faults)


_kept: OrderedDict[tuple[str, int, int], Compiled] = OrderedDict()
_lock = Lock()
_MOST_KEPT = 8
"""Systems kept prepared, each for a size of set: room for the shipped ones both for sheets (sets of three, the largest
some tens of megabytes) and for the interview (sets of two), so that neither waits for what the other has displaced."""


def compiled(system: TopSystem, max_faults: int) -> Compiled:
    """The prepared form of a system; raises ValueError for an impossible `max_faults`."""
    key = (system.system, system.revision, max_faults)
    with _lock:
        entry = _kept.get(key)
        # A draft under the same name and revision may differ: only the very same declaration may use the kept arrays.
        if entry is None or (entry.system is not system and entry.system != system):
            entry = _kept[key] = compile_system(system, max_faults)
        _kept.move_to_end(key)
        while len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)
    return entry
