"""Minimal diagnoses as published, by the same function that marks minimal explanations in a diagnosis.

Polybox: de Kleer and Williams, Artificial Intelligence 32 (1987) 97–130 (layout and observation; the printed sets
from memory, and recomputed by brute force). Full adder: Reiter, Artificial Intelligence 32 (1987) 57–95 (from memory,
recomputed).
"""

from itertools import product

import pytest

from diagnostics.engine.minimal import minimal_diagnoses

MULTIPLIERS, ADDERS = ("M1", "M2", "M3"), ("A1", "A2")
POLYBOX = (*MULTIPLIERS, *ADDERS)


def polybox_consistent(seen):
    """X=A·C, Y=B·D, Z=C·E, F=X+Y, G=Y+Z with A=3, B=2, C=2, D=3, E=3; a broken part may put out anything."""
    sound = {"M1": ("X", 6), "M2": ("Y", 6), "M3": ("Z", 6)}

    def consistent(broken):
        known = dict(seen)
        for part, (line, value) in sound.items():
            if part not in broken and known.setdefault(line, value) != value:
                return False
        if {"X", "Y"} <= known.keys() and "A1" not in broken and known["X"] + known["Y"] != known["F"]:
            return False
        if "A1" not in broken:
            # A sound adder turns one known line into the other.
            if "X" in known and "Y" not in known:
                known["Y"] = known["F"] - known["X"]
            if "Y" in known and "X" not in known:
                known["X"] = known["F"] - known["Y"]
        return "A2" in broken or not {"Y", "Z"} <= known.keys() or known["Y"] + known["Z"] == known["G"]

    return consistent


POLYBOX_PUBLISHED = [
    ({}, [{"A1"}, {"M1"}, {"A2", "M2"}, {"M2", "M3"}]),
    ({"X": 6}, [{"A1"}, {"A2", "M2"}, {"M2", "M3"}]),
    ({"X": 4}, [{"M1"}]),
    ({"Y": 6}, [{"A1"}, {"M1"}]),
    ({"Y": 4}, [{"A2", "M2"}, {"M2", "M3"}]),
    ({"Z": 6}, [{"A1"}, {"M1"}, {"A2", "M2"}]),
    ({"Z": 8}, [{"M2", "M3"}, {"A1", "A2", "M3"}, {"A2", "M1", "M3"}]),
]


@pytest.mark.parametrize(("measured", "published"), POLYBOX_PUBLISHED)
def test_polybox(measured, published):
    found = minimal_diagnoses(POLYBOX, polybox_consistent({"F": 10, "G": 12} | measured), len(POLYBOX))
    assert sorted(map(sorted, found)) == sorted(map(sorted, published))


def adder_consistent(broken):
    """Inputs 1 and 0, carry in 1; seen: sum 1, carry 0. Broken gates put out either value."""
    gates = ("X1", "A1", "X2", "A2", "O1")
    free = [gate for gate in gates if gate in broken]
    for values in product((0, 1), repeat=len(free)):
        out = dict(zip(free, values, strict=True))
        x1 = out.get("X1", 1 ^ 0)
        a1 = out.get("A1", 1 & 0)
        x2 = out.get("X2", x1 ^ 1)
        a2 = out.get("A2", x1 & 1)
        if x2 == 1 and out.get("O1", a1 | a2) == 0:
            return True
    return False


def test_full_adder():
    found = minimal_diagnoses(("X1", "A1", "X2", "A2", "O1"), adder_consistent, 5)
    assert sorted(map(sorted, found)) == [["A2", "X2"], ["O1", "X2"], ["X1"]]


def test_size_limit_leaves_larger_sets_out():
    found = minimal_diagnoses(POLYBOX, polybox_consistent({"F": 10, "G": 12, "Z": 8}), 2)
    assert found == [frozenset({"M2", "M3"})]


def test_consistency_is_not_asked_for_supersets():
    asked = []

    def consistent(chosen):
        asked.append(chosen)
        return "a" in chosen

    assert minimal_diagnoses("abc", consistent, 3) == [frozenset("a")]
    assert frozenset("ab") not in asked
    assert frozenset("bc") in asked
