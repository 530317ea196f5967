"""Who is who: clubs, their members and roles, and the accounts and tokens that sign in."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime
from typing import Any

from django.contrib.auth.models import AbstractUser
from django.db import connection, models
from django.db.models import Q

from clubdata.models.base import (
    ClubQuerySet,
    ClubRecord,
    Identified,
    SameClub,
    unique_within_club,
    validate_time_zone,
)


class Account(AbstractUser):
    """A login. A member is not one: most members of an old sheet never sign in."""

    def current_club_ids(self) -> "models.QuerySet[Any, Any]":
        """Clubs in which this account is a current member, as a subquery."""
        return Member.objects.filter(still_a_member(), account=self).values("club_id")


class AccessToken(Identified):
    """A device's key. Only its SHA-256 is kept: the key itself is shown once."""

    account = models.ForeignKey(Account, on_delete=models.CASCADE, related_name="tokens")
    device = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    @staticmethod
    def digest_of(key: str) -> str:
        return hashlib.sha256(key.encode()).hexdigest()

    def opens_at(self, now: datetime) -> bool:
        return self.revoked_at is None and now < self.expires_at


class Club(Identified):
    """A club, its time zone, and how its people write things down (`conventions`)."""

    slug = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=60, default="Europe/London", validators=[validate_time_zone])
    conventions = models.JSONField(default=dict, blank=True)
    revision = models.BigIntegerField(
        default=0, help_text="Grows with every change of a return; a fit of an older revision is stale."
    )
    places_revision = models.BigIntegerField(
        default=0,
        help_text="Grows with every change of a water, peg, hazard or word, which answers show.",
    )

    objects = ClubQuerySet.as_manager()

    def __str__(self) -> str:
        return self.name

    def in_turn(self) -> None:
        """Wait for whoever changes the club's records, within the caller's transaction; hand-ins go on.

        Whoever changes what is there takes the club's row first, so that no two wait for each other.
        """
        type(self).objects.select_for_update(no_key=True).get(pk=self.pk)

    def raise_revision(self) -> None:
        """Add one in the database, so that two writers at once count as two."""
        waiting = _raised_at_the_end.get()
        if waiting is None:
            self._raise("revision")
        else:
            waiting[self.pk] = self

    def raise_places_revision(self) -> None:
        """The same for what is known of waters, pegs, hazards and words."""
        self._raise("places_revision")

    def _raise(self, column: str) -> None:
        # In plain SQL, which takes a quarter of the time to put together: every hand-in does it.
        with connection.cursor() as cursor:
            table, name = map(connection.ops.quote_name, (self._meta.db_table, column))
            cursor.execute(f"UPDATE {table} SET {name} = {name} + 1 WHERE id = %s", [self.pk])  # noqa: S608


_raised_at_the_end: ContextVar[dict[int, Club] | None] = ContextVar("raised_at_the_end", default=None)


@contextmanager
def revisions_raised_at_the_end() -> Iterator[None]:
    """Within a transaction: others wait for the club's row from when it is raised until the commit, so raise
    it last."""
    waiting: dict[int, Club] = {}
    token = _raised_at_the_end.set(waiting)
    try:
        yield
    finally:
        _raised_at_the_end.reset(token)
    for club in waiting.values():
        club.raise_revision()


class Role(models.TextChoices):
    """What a member may do beyond handing in returns."""

    MEMBER = "member", "member"
    ORGANISER = "organiser", "match organiser"
    ANALYST = "analyst", "analyst"
    SECRETARY = "secretary", "secretary"


class LocalToday(models.Func):
    """Today's date, by the database's clock, in the time zone that a column names."""

    arity = 1
    output_field = models.DateField()

    def as_postgresql(self, compiler: Any, connection: Any) -> Any:
        template = "(STATEMENT_TIMESTAMP() AT TIME ZONE %(expressions)s)::date"
        return self.as_sql(compiler, connection, template=template)

    def as_sqlite(self, compiler: Any, connection: Any, **extra_context: Any) -> Any:
        # The function that Django itself registers for dates in a time zone; its clock is in UTC.
        template = "django_datetime_cast_date(CURRENT_TIMESTAMP, %(expressions)s, 'UTC')"
        return self.as_sql(compiler, connection, template=template, **extra_context)


def still_a_member() -> Q:
    """A membership ends as the day of leaving begins where the club is."""
    return Q(left_on__isnull=True) | Q(left_on__gt=LocalToday("club__time_zone"))


class Protection(models.TextChoices):
    """Whom the club guards: no name in anything shared, and a responsible adult on the record."""

    NONE = "", "none"
    JUNIOR = "junior"
    AT_RISK = "at_risk", "adult at risk"


class Member(ClubRecord):
    """A person on the club's books: a number, perhaps a name, perhaps a login.

    `access_needs` are health data: used when pegs are set out, published nowhere.
    """

    number = models.CharField(max_length=20)
    name = models.CharField(max_length=120, blank=True)
    account = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="memberships"
    )
    joined_on = models.DateField(null=True, blank=True)
    left_on = models.DateField(null=True, blank=True)
    contact = models.CharField(max_length=200, blank=True, default="", help_text="Where a reminder goes.")
    protection = models.CharField(max_length=7, choices=Protection.choices, blank=True, default="")
    responsible_adult = models.CharField(max_length=200, blank=True, default="")
    access_needs = models.CharField(max_length=400, blank=True, default="")
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            unique_within_club("member"),
            models.CheckConstraint(
                condition=Q(protection__in=Protection.values), name="member_protection_known"
            ),
            models.CheckConstraint(
                condition=Q(protection="") | ~Q(responsible_adult=""),
                name="member_protected_has_responsible_adult",
            ),
            models.UniqueConstraint(fields=["club", "number"], name="member_number_once_a_club"),
            models.UniqueConstraint(
                fields=["club", "account"],
                condition=Q(account__isnull=False),
                name="member_account_once_a_club",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class MemberRole(ClubRecord):
    """A role that a member holds; one person may hold several in a small club."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="roles")
    role = models.CharField(max_length=12, choices=Role.choices)

    class Meta:
        constraints = [
            SameClub(field="member", name="member_role_same_club_member"),
            models.UniqueConstraint(fields=["member", "role"], name="member_role_once"),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="member_role_known"),
        ]

    def __str__(self) -> str:
        return self.role
