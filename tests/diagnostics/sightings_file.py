"""A small file of observations whose truth is known: two parts, one of them with a range of production months."""

import io
from datetime import date

import numpy as np

from diagnostics.learning.observations import COLUMNS, read_observations

HEADING = ",".join(COLUMNS)
TODAY = date(2025, 6, 1)


def text_of(rows):
    return "\n".join([HEADING, *rows]) + "\n"


def read(rows, heading=HEADING):
    return read_observations(io.StringIO("\n".join([heading, *rows]) + "\n"), today=TODAY)


def rows_of(cars, seed=3, ratio=6.0, places=("BG1", "BG2", "BG3")):
    """Cars made from 2003 to 2009, each looked at twice; the switch at BG1 and BG2 (one part) of cars made in 2003 and
    2004 fails `ratio` times as often."""
    rng = np.random.default_rng(seed)
    rows = []
    for car in range(cars):
        year, month, climate = rng.integers(2003, 2010), rng.integers(1, 13), rng.choice(["hot", "temperate", "cold"])
        years = sorted(rng.choice(np.arange(2011, 2020), 2, replace=False))
        for place in places:
            hazard = ratio if place != "BG3" and year < 2005 else 1.0
            age = 22 * (rng.exponential() / hazard) ** (1 / 1.7)
            for seen in years:
                failed = seen - year >= age
                part = "B-2" if place == "BG3" else "A-1"
                told = "failed,stays-made" if failed else "good,"
                rows.append(f"c{car}-{place},s1,{place},{part},{year}-{month:02d},,{climate},{seen}-06-11,{told}")
                if failed:
                    break
    return rows
