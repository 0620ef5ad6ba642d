"""How good the suspects and next checks are: simulated cars with known faults, followed from the complaint to the whole
car, the suggested way beside two bench lists."""

from diagnostics.engine.study.cars import draw_cars
from diagnostics.engine.study.summary import Summary, compare, study

__all__ = ["Summary", "compare", "draw_cars", "study"]
