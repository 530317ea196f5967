"""Pages by key, not by number: rows that arrive meanwhile shift nothing, and every page costs the same."""

import operator
from dataclasses import dataclass
from functools import reduce
from typing import Any
from urllib.parse import urlencode

from django.core import signing
from django.db.models import Model, Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from api.query import QuerySerializer
from clubdata.errors import InvalidInput

DEFAULT_SIZE = 50
LARGEST_SIZE = 200


class PageQuery(QuerySerializer):
    """The two parameters of every list."""

    cursor = serializers.CharField(
        required=False, max_length=600, help_text="From `next` of the page before; opaque."
    )
    page_size = serializers.IntegerField(
        required=False,
        default=DEFAULT_SIZE,
        min_value=1,
        max_value=LARGEST_SIZE,
        help_text=f"{DEFAULT_SIZE} unless given, at most {LARGEST_SIZE}.",
    )


@dataclass(frozen=True, slots=True)
class Page:
    """Rows of one page, and the address of the next or None."""

    rows: list[Any]
    next_url: str | None


@dataclass(frozen=True, slots=True)
class Keyset:
    """An order of public columns that ends in `uid`; a minus sorts downwards.

    The cursor is the last row's values, signed, so that nobody can make one and none says anything
    that the page itself did not.
    """

    order: tuple[str, ...]

    def page(self, rows: QuerySet[Any], request: Request, query: dict[str, Any]) -> Page:
        size: int = query["page_size"]
        rows = rows.order_by(*self.order)
        if cursor := query.get("cursor"):
            rows = rows.filter(self._after(cursor))
        found = list(rows[: size + 1])
        if len(found) <= size:
            return Page(found, None)
        parameters = {**request.query_params.dict(), "cursor": self._cursor(found[size - 1])}
        return Page(found[:size], request.build_absolute_uri(f"{request.path}?{urlencode(parameters)}"))

    @property
    def _columns(self) -> list[str]:
        return [name.lstrip("-") for name in self.order]

    def _salt(self) -> str:
        return "cursor:" + ",".join(self.order)

    def _cursor(self, row: Model) -> str:
        fields = [row._meta.get_field(name) for name in self._columns]
        values = [field.value_to_string(row) for field in fields]  # type: ignore[union-attr]
        return signing.dumps(values, salt=self._salt())

    def _after(self, cursor: str) -> Q:
        try:
            values: list[str] = signing.loads(cursor, salt=self._salt())
        except signing.BadSignature:
            raise InvalidInput(
                "Take the cursor from `next` as it stands.", field="cursor", code="bad_cursor"
            ) from None
        alternatives = []
        for depth, name in enumerate(self.order):
            equal = dict(zip(self._columns[:depth], values[:depth], strict=True))
            beyond = "lt" if name.startswith("-") else "gt"
            alternatives.append(Q(**equal, **{f"{self._columns[depth]}__{beyond}": values[depth]}))
        return reduce(operator.or_, alternatives)
