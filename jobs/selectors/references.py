"""Rows that name other records by their codes: where the values of a path go in a record."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.db import models

Values = Sequence[Any]


def final_field(model: type[models.Model], path: str) -> "models.Field[Any, Any]":
    """The field at the end of a path such as ``place__depot__depot``."""
    name, _, rest = path.partition("__")
    field = model._meta.get_field(name)  # noqa: SLF001 - Django's public way to a model's fields
    if not rest:
        if not isinstance(field, models.Field):
            raise TypeError(f"{path} is no field of {model.__name__}")
        return field
    return final_field(_target(model, name), rest)


def attributes_of(model: type[models.Model], paths: Sequence[str]) -> Callable[[Values], dict[str, Any]]:
    """A function from the values of paths to the attributes of a record; one query for each foreign key.

    A path ``system`` is a field of the record itself; paths that share their first part, such as
    ``from_position__structure__structure`` and ``from_position__position``, find together what it refers to. Where all
    of them are blank, so is the reference.

    Raises:
        KeyError: what is referred to is not in the records; whoever calls has put it there.
    """
    own = [(path, at) for at, path in enumerate(paths) if "__" not in path]
    groups: dict[str, list[tuple[str, int]]] = {}
    for at, path in enumerate(paths):
        name, _, rest = path.partition("__")
        if rest:
            groups.setdefault(name, []).append((rest, at))
    foreign = [
        (f"{name}_id", [at for _, at in parts], numbers_by(_target(model, name), *(rest for rest, _ in parts)))
        for name, parts in groups.items()
    ]

    def attributes(values: Values) -> dict[str, Any]:
        found: dict[str, Any] = {name: values[at] for name, at in own}
        for name, places, numbers in foreign:
            key = tuple(values[at] for at in places)
            found[name] = numbers[key] if any(key) else None
        return found

    return attributes


def numbers_by(model: type[models.Model], *paths: str) -> Mapping[tuple[Any, ...], int]:
    """Primary key of each record of a model by the values of paths."""
    return {tuple(key): number for number, *key in rows_of(model).values_list("pk", *paths)}


def rows_of(model: type[models.Model]) -> "models.Manager[models.Model]":
    """The manager of a model that is only known as such."""
    return model._default_manager  # noqa: SLF001 - Django's public way to it


def _target(model: type[models.Model], name: str) -> type[models.Model]:
    field = model._meta.get_field(name)  # noqa: SLF001 - Django's public way to a model's fields
    if not isinstance(field, models.ForeignKey) or not isinstance(field.related_model, type):
        raise TypeError(f"{name} of {model.__name__} refers to nothing")
    return field.related_model
