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
from shop.selectors.pictures import (
    Frame,
    after_of,
    beside,
    film_of,
    in_order,
    newest_film,
    pictures_of_car,
    to_pair_with,
)
from shop.selectors.risks import risks_of
from shop.selectors.timeline import timeline_of

__all__ = [
    "FOUND_AT_MOST",
    "IN_THE_SHOP",
    "TRAIL_FILTERS",
    "Floor",
    "FloorGroup",
    "Frame",
    "Owned",
    "after_of",
    "beside",
    "cars_found",
    "cars_of_customer",
    "customers_found",
    "film_of",
    "floor",
    "in_order",
    "merge_preview",
    "newest_film",
    "odometer_of",
    "owners_of",
    "pictures_of_car",
    "risks_of",
    "timeline_of",
    "to_pair_with",
    "trail_of",
    "typed",
]
