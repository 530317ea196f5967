"""What a club's answers come from at the moment, in one indexed read: whether a kept answer still holds."""

from dataclasses import dataclass
from uuid import UUID

from analytics.catchrate.estimates import FORMAT
from analytics.models import FitRun
from clubdata.models import Club


@dataclass(frozen=True, slots=True)
class Served:
    """The promoted run and its study, with which the runs of single groups are stored.

    `revision` and `places_revision` are the club's as `club` was read.
    """

    run_uid: UUID | None
    study_uid: UUID | None
    revision: int
    places_revision: int


def served(*, club: Club) -> Served:
    """What answers come from. Read it before an answer: that may be newer than this says, never older."""
    runs = FitRun.objects.filter(club_id=club.pk, promoted=True).order_by()
    # At most one run of a club is promoted.
    found = next(iter(runs.values_list("uid", "study__uid", "format")), None)
    run_uid, study_uid, written = found or (None, None, None)
    if written != FORMAT:
        run_uid = study_uid = None
    return Served(run_uid, study_uid, club.revision, club.places_revision)
