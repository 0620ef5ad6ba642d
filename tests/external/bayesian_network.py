"""A top system as a Bayesian network for a general library (pgmpy), to compare the engine's posterior with.

**How the two are made comparable.** The engine enumerates sets of at most k faults with independent prior chances,
renormalised over those sets. The network has one binary node per fault with the same prior, and a chain of counters
`n0 … nF` over the faults (states 0 … k and 'more'); observing that the last counter is not 'more' (an evidence node
`few`) conditions on at most k faults. So both are the same distribution. Each observation is a node with the faults
of its site as parents. A motion is a chain: for each step nodes for every report that the module waits for, and a
state that is either alive or the outcome so far. The numbers come from the observation table through `effects` (one
look at one site); what is compared is everything built on top of it: fault sets, products, the motion's outcomes in
closed form, normalisation, marginals.
"""

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
from pgmpy.factors.discrete import TabularCPD
from pgmpy.models import DiscreteBayesianNetwork

from diagnostics.engine import effects, trials
from diagnostics.engine.compiled import Compiled
from diagnostics.engine.evidence import Factor, MotionFactor, SiteFactor
from diagnostics.engine.motion import MADE, RELEASED, dues, fault_free
from diagnostics.engine.system.series import path_of, reported


class Network:
    """Grown node by node; `evidence` collects what is observed."""

    def __init__(self, model: Compiled, chances: Sequence[float]) -> None:
        self.model, self.net, self.evidence = model, DiscreteBayesianNetwork(), {}
        for i, chance in enumerate(chances):
            self.add(f"f{i}", [], [[1 - chance], [chance]])
        self._count(model.sets.k)

    def add(self, name: str, parents: list[str], values: Sequence[Sequence[float]] | np.ndarray) -> None:
        """A node; `values` (states, product of the parents' states), the last parent changing fastest."""
        values = np.asarray(values, dtype=float)
        cards = [self.net.get_cardinality(parent) for parent in parents]
        self.net.add_node(name)
        self.net.add_edges_from((parent, name) for parent in parents)
        self.net.add_cpds(TabularCPD(name, values.shape[0], values, parents or None, cards or None))

    def _count(self, k: int) -> None:
        more = k + 1
        before: list[str] = []
        # Faults of one site stand together in the chain, so that eliminating a site leaves only its two counters
        # behind.
        sites = {site.code: site for site in self.model.sites.values()}  # two switches on one pin are one site
        order = [i for code, site in sites.items() for i in site.faults if not self._in_sensor_too(code, i)]
        for place, fault in enumerate(order):
            states = range(k + 2) if before else (0,)
            table = np.zeros((k + 2, len(states) * 2))
            for column, (count, there) in enumerate(product(states, (0, 1))):
                table[min(count + there, more), column] = 1.0
            self.add(f"n{place}", [*before, f"f{fault}"], table)
            before = [f"n{place}"]
        few = np.zeros((2, k + 2))
        few[0, more], few[1, :more] = 1.0, 1.0
        self.add("few", before, few)
        self.evidence["few"] = 1

    def _in_sensor_too(self, code: str, fault: int) -> bool:
        """A dead input belongs to two sites; it is counted at the sensor, of two on one pin at the one that has it."""
        named = self.model.faults[fault]
        return bool(named.input) and named.input != code

    def observe_site(self, name: str, factor: SiteFactor) -> None:
        parents, chance = self._site(
            factor.site, dict(zip(self.model.sites[factor.site].sets, factor.table, strict=True))
        )
        self.add(name, parents, [1 - chance, chance])
        self.evidence[name] = 1

    def _site(self, site: str, known: Mapping[frozenset[str], float]) -> tuple[list[str], np.ndarray]:
        """Parents, and the chance for every combination; those of more faults than are allowed at all may be
        anything."""
        faults, path = self.model.sites[site].faults, path_of(self.model.system, site)
        named = [self.model.faults[i] for i in faults]
        modes = [effects.TWIN + f.mode if f.position in path[1:] else f.mode for f in named]
        combos = product((0, 1), repeat=len(faults))
        sets = (frozenset(m for m, there in zip(modes, combo, strict=True) if there) for combo in combos)
        return [f"f{i}" for i in faults], np.array([known.get(one, 0.5) for one in sets])

    def _report(self, name: str, site: str, due: str, wanted: str) -> str:
        position = self.model.system.positions[site]
        seen = {modes: effects.module_sees(position, modes, due, wanted) for modes in self.model.sites[site].sets}
        parents, chance = self._site(site, seen)
        self.add(name, parents, [1 - chance, chance])
        return name

    def _all(self, name: str, parents: list[str]) -> str:
        """A chain of ANDs: the last of its nodes."""
        last = parents[0]
        for i, parent in enumerate(parents[1:]):
            self.add(f"{name}.{i}", [last, parent], [[1, 1, 1, 0], [0, 0, 0, 1]])
            last = f"{name}.{i}"
        return last

    def observe_motion(self, name: str, motion: str, told: np.ndarray) -> None:
        """States of the chain: 0 alive, 1 command not seen, 2 … stopped at step 0 … `told`: by outcome, as of
        `trials.told_weights`."""
        system = self.model.system
        declared, traces = system.motions[motion], fault_free(system, motion)
        states, last = len(traces) + 2, len(traces) - 1
        commands = {m.command: RELEASED for m in system.motions.values()} | {declared.command: MADE}
        seen = self._all(f"{name}.c", [self._report(f"{name}.c.{c}", c, due, due) for c, due in commands.items()])
        start = np.zeros((states, 2))
        start[1, 0], start[0, 1] = 1.0, 1.0
        self.add(f"{name}.s", [seen], start)
        before = f"{name}.s"
        for k, trace in enumerate(traces):
            due = [dues(system, pose, held=declared.command) for pose in (trace.before, trace.after)]
            wants = [(trace.step.starts_when, due[0]), (trace.step.ends_when, due[0]), (trace.step.ends_when, due[1])]
            parts = []
            for kind, (wanted, truth) in zip("sea", wants, strict=True):
                label = f"{name}.{k}{kind}"
                if kind == "e" and all(reported(truth[code]) == want for code, want in wanted.items()):
                    parts.append(self._sure(label, 0))  # reported before it starts: the module does not go by it
                    continue
                nodes = [self._report(f"{label}.{c}", c, truth[c], w) for c, w in wanted.items()]
                parts.append(self._all(label, nodes) if nodes else self._sure(label, 1))
            parts.append(self._drive(f"{name}.{k}m", trace.step.driven_by))
            table = np.zeros((states, states * 16))
            for column, (state, starts, early, after, moves) in enumerate(product(range(states), *[(0, 1)] * 4)):
                if state:
                    table[state, column] = 1.0
                elif not starts or (not early and not (after and moves)):
                    table[k + 2, column] = 1.0
                elif early:
                    table[min(k + 1, last) + 2, column] = 1.0
                else:
                    table[0, column] = 1.0
            self.add(f"{name}.{k}", [before, *parts], table)
            before = f"{name}.{k}"
        weights = np.array([told[-1], *told[:-1]])
        self.add(name, [before], [1 - weights, weights])
        self.evidence[name] = 1

    def _sure(self, name: str, state: int) -> str:
        self.add(name, [], [[1.0 - state], [float(state)]])
        return name

    def _drive(self, name: str, driven_by: Sequence[str]) -> str:
        positions = self.model.system.positions
        nodes = []
        for code in [*driven_by, *(c for c, p in positions.items() if p.kind in ("module", "supply"))]:
            # Of the module only its outputs matter here: as parents the dead inputs would only make the table large.
            faults = [i for i in self.model.sites[code].faults if not self.model.faults[i].input]
            combos = product((0, 1), repeat=len(faults))
            chance = np.array(
                [
                    effects.moves(
                        positions[code].kind,
                        frozenset(self.model.faults[i].mode for i, there in zip(faults, combo, strict=True) if there),
                    )
                    for combo in combos
                ]
            )
            self.add(f"{name}.{code}", [f"f{i}" for i in faults], [1 - chance, chance])
            nodes.append(f"{name}.{code}")
        return self._all(name, nodes)


def network_of(model: Compiled, chances: Sequence[float], factors: Sequence[Factor]) -> Network:
    network = Network(model, chances)
    for number, factor in enumerate(factors):
        if isinstance(factor, SiteFactor):
            network.observe_site(f"o{number}", factor)
        elif isinstance(factor, MotionFactor):
            assert not factor.slow
            assert not factor.stands
            network.observe_motion(f"m{number}", factor.motion, factor.weights)
        else:
            said = factor.told
            assert (said.sound, said.comes_and_goes, said.battery_weak, said.neither_way) == (None, None, None, False)
            motion = model.system.motions[said.motion]
            weights = trials.told_weights(motion, said.stops_at, said.lamp, layman=True)
            network.observe_motion(f"m{number}", said.motion, weights)
    return network
