"""A learned model as JSON and back, without losing a digit."""

import dataclasses
import math
import types
import typing
from typing import Any

import numpy as np

from diagnostics.learning.records import PartModel

_WORDS = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}


def to_json(model: PartModel) -> dict[str, Any]:
    """As dicts, lists, numbers and text; what JSON has no number for is a word."""
    plain = _plain(model)
    assert isinstance(plain, dict)  # noqa: S101 - a dataclass becomes a dict
    return plain


def from_json(document: dict[str, Any]) -> PartModel:
    """The model that `to_json` wrote; keys may come in any order, and what was written before a field was there has its
    default."""
    model = _made(PartModel, document)
    assert isinstance(model, PartModel)  # noqa: S101 - for the type checker
    return model


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {one.name: _plain(getattr(value, one.name)) for one in dataclasses.fields(value)}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else "inf" if value > 0 else "-inf"
    return value


def _made(kind: Any, value: Any) -> Any:
    """`value` as the annotated type says: a dataclass, a tuple, a dict, an array or a plain value."""
    origin = typing.get_origin(kind)
    if dataclasses.is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        there = (one.name for one in dataclasses.fields(kind) if one.name in value)
        fields = {name: _made(hints[name], value[name]) for name in there}
        return typing.cast(Any, kind)(**fields)
    if origin is tuple:
        kinds = typing.get_args(kind)
        if len(kinds) == 2 and kinds[1] is Ellipsis:
            return tuple(_made(kinds[0], one) for one in value)
        return tuple(_made(one, item) for one, item in zip(kinds, value, strict=True))
    if origin is dict:
        return {key: _made(typing.get_args(kind)[1], one) for key, one in value.items()}
    if origin is np.ndarray:
        return np.array(_numbers(value), dtype=float)
    if origin is types.UnionType:
        return None if value is None else _made(typing.get_args(kind)[0], value)
    return _WORDS[value] if kind is float and isinstance(value, str) else value


def _numbers(value: Any) -> Any:
    if isinstance(value, list):
        return [_numbers(one) for one in value]
    return _WORDS[value] if isinstance(value, str) else value
