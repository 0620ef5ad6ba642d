"""Taking the records along: the whole shop as a documented zip, and one car for its owner."""

from reports.take.car import car_take
from reports.take.runs import KIND, export_ask, export_path, export_run, exports_there, exports_tidy
from reports.take.whole import export_write

__all__ = [
    "KIND",
    "car_take",
    "export_ask",
    "export_path",
    "export_run",
    "export_write",
    "exports_there",
    "exports_tidy",
]
