"""The reads of the base app."""

from shop.selectors.base import (
    FOUND_AT_MOST,
    IN_THE_SHOP,
    TRAIL_FILTERS,
    Floor,
    FloorGroup,
    cars_found,
    customers_found,
    floor,
    odometer_of,
    trail_of,
    typed,
)
from shop.selectors.merge import merge_preview
from shop.selectors.owners import Owned, cars_of_customer, owners_of

__all__ = [
    "FOUND_AT_MOST",
    "IN_THE_SHOP",
    "TRAIL_FILTERS",
    "Floor",
    "FloorGroup",
    "Owned",
    "cars_found",
    "cars_of_customer",
    "customers_found",
    "floor",
    "merge_preview",
    "odometer_of",
    "owners_of",
    "trail_of",
    "typed",
]
