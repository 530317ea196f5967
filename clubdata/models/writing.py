"""New rows, written as `bulk_create` writes them, but by statements that are put together once a model."""

from collections.abc import Iterable, Iterator
from functools import cache
from itertools import groupby
from typing import Any, NamedTuple, TypeVar

from django.db import connection, models

Row = TypeVar("Row", bound=models.Model)


class _Insert(NamedTuple):
    """The fields of a new row in their order, and what stands around their values."""

    fields: list[Any]
    head: str
    one: str
    tail: str


class _Step(NamedTuple):
    """One statement: rows of one model, as many as the database takes at once."""

    rows: list[Any]
    sql: str
    values: list[Any]


def insert_all(rows: Iterable[Row]) -> list[Row]:
    """Write new rows in their order, those of one model together, and let each have its key.

    For models with a key that the database gives and no default that it computes, as all records have; no
    signal is sent, and the transaction is the caller's. Where the database takes several statements at once
    they are one round trip. Raises `IntegrityError` as `bulk_create` does.
    """
    new = list(rows)
    steps = [step for model, some in groupby(new, type) for step in _steps(model, list(some))]
    if not steps:
        return new
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "; ".join(step.sql for step in steps), [one for step in steps for one in step.values]
            )
            for step in steps:
                _know(step.rows, cursor.fetchall())
                cursor.nextset()
        else:
            for step in steps:
                cursor.execute(step.sql, step.values)
                _know(step.rows, cursor.fetchall())
    return new


def _steps(model: type[models.Model], rows: list[Any]) -> Iterator[_Step]:
    insert = _insert_of(model)
    at_once = connection.ops.bulk_batch_size(insert.fields, rows)
    for first in range(0, len(rows), at_once):
        some = rows[first : first + at_once]
        yield _Step(
            rows=some,
            sql=f"{insert.head} {', '.join([insert.one] * len(some))} {insert.tail}",
            values=[
                field.get_db_prep_save(field.pre_save(row, add=True), connection)
                for row in some
                for field in insert.fields
            ],
        )


def _know(rows: list[Any], keys: list[tuple[Any, ...]]) -> None:
    for row, (key,) in zip(rows, keys, strict=True):
        row.pk = key
        row._state.adding, row._state.db = False, connection.alias


@cache
def _insert_of(model: type[models.Model]) -> _Insert:
    quote = connection.ops.quote_name
    meta = model._meta
    fields = [field for field in meta.local_concrete_fields if not field.primary_key]
    columns = ", ".join(quote(str(one.column)) for one in fields)
    return _Insert(
        fields=fields,
        head=f"INSERT INTO {quote(meta.db_table)} ({columns}) VALUES",
        one=f"({', '.join(['%s'] * len(fields))})",
        tail=f"RETURNING {quote(str(meta.pk.column))}",
    )
