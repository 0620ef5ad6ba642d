"""Rows written in bulk, without a model object for each.

SQLite has one writer, and others wait for it no longer than its busy timeout (shop/settings.py). 100,000 cars by
`bulk_create` held it for longer than that, most of the time being spent on objects and on making SQL of each value.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from itertools import chain, islice
from typing import Any

from django.db import connections, models
from django.db.utils import DEFAULT_DB_ALIAS

_PLAIN = frozenset({str, int, bool, type(None)})
"""What a database takes as it is, except for JSON."""
_AT_ONCE = 200
"""Rows of one statement; no table here has so many columns that SQLite would not take them."""


def rows_written(model: type[models.Model], rows: Iterable[Mapping[str, Any]]) -> list[int]:
    """Insert rows, each a value by column (`car_id`, not `car`), all with the same columns; what they leave out gets
    its default. Their primary keys, in order. Raises IntegrityError."""
    keys: list[int] = []
    left = iter(rows)
    while batch := list(islice(left, _AT_ONCE)):
        keys += _insert(model, batch)
    return keys


def _insert(model: type[models.Model], batch: list[Mapping[str, Any]]) -> list[int]:
    connection = connections[DEFAULT_DB_ALIAS]
    quote, meta = connection.ops.quote_name, model._meta
    fields = [field for field in meta.concrete_fields if not field.primary_key]
    empty = model()  # for the defaults; a moment of writing is the same for the whole batch
    by_column: list[Sequence[Any]] = []
    for field in fields:
        name = field.attname
        if name not in batch[0]:
            by_column.append([field.get_db_prep_save(field.pre_save(empty, add=True), connection)] * len(batch))
            continue
        column = [row[name] for row in batch]
        if isinstance(field, models.JSONField) or not set(map(type, column)) <= _PLAIN:
            column = [field.get_db_prep_save(value, connection) for value in column]
        by_column.append(column)
    values = list(chain.from_iterable(zip(*by_column, strict=True)))
    columns = ", ".join(quote(str(field.column)) for field in fields)
    places = ", ".join([f"({', '.join(['%s'] * len(fields))})"] * len(batch))
    with connection.cursor() as cursor:
        sql = f"INSERT INTO {quote(meta.db_table)} ({columns}) VALUES {places} RETURNING {quote('id')}"  # noqa: S608 - names of our models
        cursor.execute(sql, values)
        return [key for (key,) in cursor.fetchall()]


@cache
def _address(model: Any) -> str:
    return str(model(pk=0).get_absolute_url())


def link_to(model: type[models.Model], pk: int) -> str:
    """The `get_absolute_url` of a row that is named by its number, without looking through all addresses each time."""
    return _address(model).replace("/0/", f"/{pk}/")
