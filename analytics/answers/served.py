"""What a club's answers come from at the moment, in one indexed read: whether a kept answer still holds."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Count

from analytics.catchrate.estimates import FORMAT
from analytics.models import FitRun
from clubdata.models import Club


@dataclass(frozen=True, slots=True)
class Served:
    """The promoted run, the moment of its study and how many runs of single groups stand beside it.

    `revision` and `places_revision` are the club's as `club` was read.
    """

    run_uid: UUID | None
    studied_at: datetime | None
    beside: int
    revision: int
    places_revision: int


def served(*, club: Club) -> Served:
    """What answers come from. Read it before an answer: that may be newer than this says, never older."""
    runs = FitRun.objects.filter(club=club, promoted=True, format=FORMAT).order_by()
    found = runs.annotate(beside_it=Count("of_targets")).values_list("uid", "study__studied_at", "beside_it")
    run_uid, studied_at, beside = found.first() or (None, None, 0)
    return Served(run_uid, studied_at, beside, club.revision, club.places_revision)
