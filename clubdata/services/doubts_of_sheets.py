"""Figures to check of returns that came in a sheet: found by the database, then asked about one by one.

Of a hundred thousand rows few can be asked about at all; only those are read.
"""

from datetime import date, datetime

from django.db.models import DecimalField, ExpressionWrapper, F, OuterRef, Q, QuerySet, Subquery, Sum

from clubdata.models import CatchLine, Club, Job, Return, SessionKind, SessionPart, StagedReturn, Water
from clubdata.rules.plausibility import (
    LONGEST_SESSION_HOURS,
    SCALES_TELL_G,
    SHARE_OF_TOTAL,
    TWILIGHT_HOURS,
)
from clubdata.rules.sky import sky_for
from clubdata.rules.water_rules import read_water_rules
from clubdata.rules.words import fold
from clubdata.services.doubts import look_at_new, with_figures
from clubdata.services.waters import zone_of

_READ_AT_ONCE = 500
#: The days that are shortest, north and south.
_SOLSTICES = (date(2024, 6, 21), date(2024, 12, 21))


def look_at_landed(*, job: Job, club: Club, now: datetime) -> int:
    """Ask the rules about what a job's sheet has landed, within the caller's transaction; how many doubts.

    The caller raises the club's revision, as landing does.
    """
    landed = Return.objects.filter(club=club, uid__in=StagedReturn.objects.filter(job=job).values("uid"))
    suspects = with_figures(_suspects(landed, club)).iterator(chunk_size=_READ_AT_ONCE)
    return len(look_at_new(sessions=suspects, now=now))


def _suspects(landed: QuerySet[Return], club: Club) -> QuerySet[Return]:
    """Every return that a rule may ask about, and few others. A sheet has neither lengths nor tackle."""
    lines = CatchLine.objects.filter(session=OuterRef("pk")).order_by().values("session")
    # Slightly less than what the rule asks about: the rule has the last word.
    total = ExpressionWrapper(
        F("weight_g") * (1 + SHARE_OF_TOTAL) + SCALES_TELL_G - 1, output_field=DecimalField()
    )
    suspected = Q(hours__gt=LONGEST_SESSION_HOURS) | Q(lines_g__gt=total)
    for water in Water.objects.filter(club=club).select_related("club"):
        suspected |= _of_the_water(water)
    suspects: QuerySet[Return] = landed.annotate(
        lines_g=Subquery(lines.annotate(total=Sum("weight_g")).values("total"))
    )
    return suspects.filter(suspected).order_by("pk")


def _of_the_water(water: Water) -> Q:
    rules = read_water_rules(water.rules)
    light = min(
        sky_for(
            latitude=float(water.latitude), longitude=float(water.longitude), on=on, time_zone=zone_of(water)
        ).day_length_hours
        for on in _SOLSTICES
    )
    here = Q()
    if not rules.night_fishing:
        here |= Q(session_kind=SessionKind.MATCH, hours__gt=light)
    if rules.night_fishing is False:
        here |= Q(hours__gt=light + TWILIGHT_HOURS)
    barred = {fold(word) for word in rules.hook_baits_not_allowed}
    if barred:
        spelt = SessionPart.objects.filter(club_id=water.club_id, hook_bait__spellings__folded__in=barred)
        here |= Q(pk__in=spelt.values("session"))
    return Q(water=water) & here if here else Q(pk__in=[])
