"""Pages whose changes show in answers: each raises the places' revision of the clubs that it touched."""

from typing import Any

from django.db.models import Model, QuerySet
from django.http import HttpRequest

from clubdata.models import Club


class RaisesPlacesRevision:
    """For the page of a club, or of a row of one: also when only its inline rows change."""

    def save_related(self, request: HttpRequest, form: Any, formsets: Any, change: Any) -> None:
        super().save_related(request, form, formsets, change)  # type: ignore[misc]
        # A row that was moved had another club before.
        _raise({_club_of(form.instance), form.initial.get("club")})

    def delete_model(self, request: HttpRequest, obj: Model) -> None:
        clubs = {_club_of(obj)}
        super().delete_model(request, obj)  # type: ignore[misc]
        _raise(clubs)

    def delete_queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> None:
        clubs = {_club_of(row) for row in queryset}
        super().delete_queryset(request, queryset)  # type: ignore[misc]
        _raise(clubs)


def _club_of(row: Any) -> Any:
    return row.pk if isinstance(row, Club) else row.club_id


def _raise(clubs: set[Any]) -> None:
    for club in Club.objects.filter(pk__in=clubs - {None}):
        club.raise_places_revision()
