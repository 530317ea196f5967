"""Query parameters to conditions, by a table that each list view states."""

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet


def narrowed(rows: QuerySet[Any], filters: Mapping[str, str], parameters: Mapping[str, Any]) -> QuerySet[Any]:
    """The rows that meet every parameter given; `filters` maps a parameter to a look-up."""
    given = {lookup: parameters[name] for name, lookup in filters.items() if name in parameters}
    return rows.filter(**given)
