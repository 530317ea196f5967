"""What a club's answers come from at the moment, in one indexed read: whether a kept answer still holds."""

from dataclasses import dataclass

from analytics.catchrate.estimates import FORMAT
from analytics.held import HELD, Source
from analytics.models import FitRun
from clubdata.models import Club


@dataclass(frozen=True, slots=True)
class Served:
    """The run and its study, with which the runs of single groups are stored; None without a run.

    `revision` and `places_revision` are the club's as `club` was read.
    """

    source: Source | None
    revision: int
    places_revision: int


def served(*, club: Club) -> Served:
    """What answers come from. Read it before an answer: that may be newer than this says, never older."""
    runs = FitRun.objects.filter(club_id=club.pk, promoted=True).order_by()
    # At most one run of a club is promoted.
    found = next(iter(runs.values_list("uid", "study__uid", "format")), None)
    run_uid, study_uid, written = found or (None, None, None)
    promoted = Source(run_uid, study_uid) if run_uid is not None and written == FORMAT else None
    return Served(HELD.choose(club.pk, promoted), club.revision, club.places_revision)
