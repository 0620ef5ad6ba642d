"""What the export of the whole shop holds: every table of ours, every column but secrets, told from the models."""

import inspect
from collections.abc import Iterator
from dataclasses import dataclass

from django.apps import apps
from django.db import models

APPS = ("shop", "diagnostics", "parts", "reports")
LEFT_OUT = frozenset({"SecondFactor", "RecoveryCode", "SignedIn"})
"""How people sign in is nobody's record."""
SECRETS = frozenset({"password", "token_hash", "code_hash", "secret", "code"})
"""Columns that open something: passwords, links, the address that a customer got for an enquiry."""
FILES_LEFT_OUT = frozenset({"ImportedFile"})
"""Files that are here on their way only."""


@dataclass(frozen=True, slots=True)
class Exported:
    """One table: `name` as `app/model`, `columns` by the names in the database."""

    name: str
    model: type[models.Model]
    columns: tuple[str, ...]
    files: tuple[str, ...]

    @property
    def fields(self) -> Iterator["models.Field[object, object]"]:
        for column in self.columns:
            yield next(field for field in self.model._meta.concrete_fields if field.attname == column)


def exported() -> list[Exported]:
    """All tables, by name."""
    out = []
    for app in APPS:
        for model in apps.get_app_config(app).get_models():
            if model.__name__ in LEFT_OUT:
                continue
            fields = [field for field in model._meta.concrete_fields if field.name not in SECRETS]
            files = [field.name for field in fields if isinstance(field, models.FileField)]
            out.append(
                Exported(
                    f"{app}/{model._meta.model_name}",
                    model,
                    tuple(field.attname for field in fields),
                    () if model.__name__ in FILES_LEFT_OUT else tuple(files),
                )
            )
    return sorted(out, key=lambda one: one.name)


def about(one: Exported) -> str:
    """What a table and each of its columns hold, as the README tells it."""
    said = inspect.getdoc(one.model) or ""
    if said.startswith(f"{one.model.__name__}("):  # what Django writes where nobody wrote anything
        said = ""
    lines = [f"{one.name}.csv, {one.name}.jsonl", *(f"  {line}" for line in said.splitlines())]
    lines += [f"    {field.attname}: {_about_field(field)}" for field in one.fields]
    return "\n".join(lines)


def _about_field(field: "models.Field[object, object]") -> str:
    words = [_type(field)]
    if field.choices:
        words.append("one of " + ", ".join(f"{value} ({label})" for value, label in field.flatchoices if value != ""))
    if field.null:
        words.append("may be empty")
    if field.help_text:
        words.append(str(field.help_text))
    return "; ".join(words)


def _type(field: "models.Field[object, object]") -> str:
    if isinstance(field, models.ForeignKey):
        target = field.related_model
        return f"the {field.target_field.name} of a row of {target._meta.app_label}/{target._meta.model_name}"
    kinds = (
        (models.DateTimeField, "moment, ISO 8601 in UTC"),
        (models.DateField, "day, ISO 8601"),
        (models.TimeField, "time of day"),
        (models.BooleanField, "true or false"),
        (models.JSONField, "JSON"),
        (models.FileField, "name of a file below files/"),
        (models.DecimalField, "decimal number"),
        (models.FloatField, "number"),
        (models.IntegerField, "whole number"),
        (models.UUIDField, "UUID"),
    )
    return next((words for kind, words in kinds if isinstance(field, kind)), "text")
