"""Who hears that a car's facts have changed. The apps above register themselves: the base app imports none of them."""

from collections.abc import Callable, Collection

from shop.models import Car

Listener = Callable[[Car, Collection[str]], None]
"""The car and the names of the fields that changed, in the transaction of the change."""
_listeners: list[Listener] = []


def register(listener: Listener) -> None:
    if listener not in _listeners:
        _listeners.append(listener)


def facts_changed(car: Car, names: Collection[str]) -> None:
    for listener in _listeners:
        listener(car, names)
