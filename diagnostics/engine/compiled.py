"""A top system prepared for inference: its fault sets, and per site the local set of each, as arrays.

A *site* is a place where observations meet faults: a sensor with its path, trigger and input of the module, or
another position with its own faults. Two switches in series on one pin are one site, found under both codes. What a check shows there depends on the local fault set alone, so a likelihood
over all H hypotheses is a gather from a small table. Prepared once per system and size of set, kept for the few
systems that a shop works on.
"""

from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from diagnostics.engine.effects import TWIN, Modes
from diagnostics.engine.faults import faults_of, repair_of
from diagnostics.engine.hypotheses import FaultSets, fault_sets, project, rank, sorted_rows
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import SENSORS, TopSystem
from diagnostics.engine.system.series import path_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


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


@dataclass
class Compiled:
    """`sets`: the hypotheses (H of them). `faults`: what their members mean. `sites`: by position code."""

    system: TopSystem
    faults: tuple[Fault, ...]
    sets: FaultSets
    sites: Mapping[str, Site]
    _codes: dict[str, Ints] = field(default_factory=dict)
    _cache: dict[object, Floats] = field(default_factory=dict)

    @cached_property
    def sensors(self) -> frozenset[str]:
        return frozenset(self.system.sensors())

    def codes(self, site: str) -> Ints:
        """(H,) the local fault set of each hypothesis at a site."""
        site = self.sites[site].code
        if site not in self._codes:
            keep = np.full(len(self.faults), len(self.sites[site].faults), dtype=np.int32)
            for new, old in enumerate(self.sites[site].faults):
                keep[old] = new
            self._codes[site] = project(self.sets, keep, len(self.sites[site].faults))
        return self._codes[site]

    def kept(self, key: object, make: Callable[[], Floats]) -> Floats:
        """A likelihood that depends on the system alone, made once."""
        if key not in self._cache:
            self._cache[key] = make()
        return self._cache[key]

    @cached_property
    def repairs(self) -> tuple[str, ...]:
        """Key of the repair of each fault."""
        return tuple(repair_of(self.system, fault).key for fault in self.faults)

    @cached_property
    def repair_names(self) -> tuple[str, ...]:
        """The different repairs, each once."""
        return tuple(dict.fromkeys(self.repairs))

    @cached_property
    def repair_members(self) -> Ints:
        """(H, k) the different repairs that each hypothesis needs, rising; len(repair_names) where empty."""
        number = {name: i for i, name in enumerate(self.repair_names)}
        n = len(number)
        lookup = np.array([*(number[name] for name in self.repairs), n], dtype=np.int32)
        part = sorted_rows(lookup[self.sets.members])
        for column in range(1, part.shape[1]):
            part[part[:, column] == part[:, column - 1], column] = n  # two faults, one repair
            part = sorted_rows(part)
        return np.asfortranarray(part)

    @cached_property
    def repair_sets(self) -> Ints:
        """(H,) which set of repairs puts each hypothesis right."""
        return rank(self.repair_members, len(self.repair_names))


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


def compile_system(system: TopSystem, max_faults: int) -> Compiled:
    faults = faults_of(system)
    return Compiled(system, faults, fault_sets(len(faults), max_faults), _sites(system, faults, max_faults))


_kept: OrderedDict[tuple[str, int, int], Compiled] = OrderedDict()
_lock = Lock()
_MOST_KEPT = 8


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
