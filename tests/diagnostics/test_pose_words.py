"""Places of a pose in words: the same sentence whatever order they come in."""

from diagnostics.engine.poses import places_words
from tests.diagnostics.systems import shipped


def test_places_stand_in_the_order_of_the_axes_whatever_order_a_database_gives_them_back_in():
    system = shipped("rht-trio")
    places = dict(system.poses["open"])
    backwards = dict(reversed(places.items()))
    assert places_words(system, backwards) == places_words(system, places)
    first = next(iter(system.axes))
    assert places_words(system, backwards).startswith(system.axes[first].title)
