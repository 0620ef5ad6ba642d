"""The reads of the catalogue and the shelf."""

from parts.selectors.catalogue import SHELF_ROWS, Fitting, Shelf, ShelfRow, parts_for, shelf, shelf_of, systems_declared

__all__ = ["SHELF_ROWS", "Fitting", "Shelf", "ShelfRow", "parts_for", "shelf", "shelf_of", "systems_declared"]
