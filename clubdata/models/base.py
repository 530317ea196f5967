"""What every record shares: a public id, its club, and the constraint that keeps the two together."""

import uuid
from collections.abc import Callable, Sequence
from typing import Any, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.core.exceptions import FieldDoesNotExist, ValidationError
from django.db import models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor


def _open(
    model: type[models.Model] | None, schema_editor: BaseDatabaseSchemaEditor | None
) -> tuple[type[models.Model], Callable[[str], str]]:
    """Django's signature allows neither to be there; a constraint without both cannot be written."""
    if model is None or schema_editor is None:
        raise ValueError("a constraint needs its model and a schema editor")
    return model, schema_editor.quote_name


class SameClub(models.BaseConstraint):
    """A composite foreign key `(club, field)` → `(club, id)`: a child cannot name another club's row.

    Django's own foreign keys compare one column only. The target's table must carry
    `unique_within_club()`. A null `field` is not checked, as SQL's simple match has it.
    With `shared="water"` the pair is `(water, field)`: a return's peg lies on the return's water.
    """

    def __init__(self, *, field: str, name: str, shared: str = "club") -> None:
        super().__init__(name=name)
        self.field = field
        self.shared = shared

    def constraint_sql(
        self, model: type[models.Model] | None, schema_editor: BaseDatabaseSchemaEditor | None
    ) -> str:
        table, quote = _open(model, schema_editor)
        column: Any = table._meta.get_field(self.field)
        target = quote(column.remote_field.model._meta.db_table)
        shared = quote(f"{self.shared}_id")
        return (
            f"CONSTRAINT {quote(self.name)} FOREIGN KEY ({shared}, {quote(column.column)}) "
            f"REFERENCES {target} ({shared}, {quote('id')}) DEFERRABLE INITIALLY DEFERRED"
        )

    def create_sql(
        self, model: type[models.Model] | None, schema_editor: BaseDatabaseSchemaEditor | None
    ) -> str:
        table, quote = _open(model, schema_editor)
        return f"ALTER TABLE {quote(table._meta.db_table)} ADD {self.constraint_sql(model, schema_editor)}"

    def remove_sql(
        self, model: type[models.Model] | None, schema_editor: BaseDatabaseSchemaEditor | None
    ) -> str:
        table, quote = _open(model, schema_editor)
        return f"ALTER TABLE {quote(table._meta.db_table)} DROP CONSTRAINT {quote(self.name)}"

    def validate(
        self,
        model: type[models.Model],
        instance: models.Model,
        exclude: Any = None,
        using: str = "default",
    ) -> None:
        """Left to the database: services look things up within the club, and the key catches the rest."""

    def deconstruct(self) -> Any:
        path, _, kwargs = super().deconstruct()
        return path, (), {**kwargs, "field": self.field, "shared": self.shared}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameClub) and self.deconstruct() == other.deconstruct()

    def __hash__(self) -> int:
        return hash((self.name, self.field, self.shared))


def validate_time_zone(name: str) -> None:
    """Refuse a name that the tz database does not have: every local date would fail on it."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValidationError(
            "Write a time zone of the tz database, such as Europe/London.", code="unknown_time_zone"
        ) from None


class ClubQuerySet(models.QuerySet[Any]):
    """The one tenant filter. `visible_to` stands on every query that a request can reach."""

    def visible_to(self, actor: Any) -> Self:
        """The rows of the actor's clubs: an `Account` sees the clubs it is a current member of."""
        field = "club" if self._has_club() else "pk"
        return self.filter(**{f"{field}__in": actor.current_club_ids()})

    def _has_club(self) -> bool:
        try:
            self.model._meta.get_field("club")
        except FieldDoesNotExist:
            return False
        return True


class Identified(models.Model):
    """A row with a public id that the client may supply; the bigint key stays inside."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    class Meta:
        abstract = True


class ClubRecord(Identified):
    """A row that belongs to one club, and says so."""

    club = models.ForeignKey("clubdata.Club", on_delete=models.CASCADE, related_name="+")

    objects = ClubQuerySet.as_manager()

    class Meta:
        abstract = True


def remember(row: Any, related: str, rows: Sequence[models.Model]) -> None:
    """Let `row.<related>.all()` give what was just written, as if `prefetch_related` had read it."""
    known = getattr(row, related).all()
    known._result_cache, known._prefetch_done = list(rows), True
    row._prefetched_objects_cache = {**getattr(row, "_prefetched_objects_cache", {}), related: known}


def unique_within_club(table: str) -> models.UniqueConstraint:
    """The target that `SameClub` refers to."""
    return models.UniqueConstraint(fields=["club", "id"], name=f"{table}_club_id_key")
