"""Doubts: figures to look at before they are used, who looks, and what comes of it.

While a doubt waits or is held for query, its return is in no fit. Rules ask at every hand-in and amendment
(`clubdata.rules.plausibility`), a fit asks of what it has not seen (`analytics.judging`). An organiser looks
at those of matches, an analyst and the secretary at all, none at their own. To correct a figure is to amend
its return.
"""

import uuid
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Prefetch, Q, QuerySet

from clubdata.errors import Conflict, NotFound
from clubdata.models import (
    Account,
    CatchLine,
    Doubt,
    DoubtState,
    Outcome,
    Return,
    Role,
    SessionKind,
    SessionPart,
)
from clubdata.models.doubts import OPEN
from clubdata.rules.plausibility import CaughtLine, Question, Session, Spell, questions_about
from clubdata.rules.sky import sky_for
from clubdata.rules.water_rules import read_water_rules
from clubdata.services.members import Membership
from clubdata.services.waters import zone_of

LOOKS_AT_ALL = frozenset({Role.ANALYST, Role.SECRETARY})
LOOKS_AT_MATCHES = frozenset({Role.ORGANISER})
LOOKS = LOOKS_AT_ALL | LOOKS_AT_MATCHES
#: What the fit asks about; everything else the rules ask.
AGAINST_THE_FIT = "against_the_fit"
_AT_ONCE = 500


def look(*, session: Return, now: datetime, by: Account | None, figures_changed: bool = True) -> list[Doubt]:
    """Ask the rules about a return as it stands now, within the caller's transaction; what is new of it.

    `session` comes by `with_figures`. A doubt whose figures still stand stays open, and held where it was
    held; the others of earlier versions are settled as corrected, by whoever made this version. What was
    taken as it stands and is still so is not asked again. The caller raises the club's revision.
    """
    asked = questions_about(figures_of(session))
    earlier = Doubt.objects.filter(session=session, version__lt=session.version).order_by("pk")
    answered = [(doubt.code, doubt.facts) for doubt in earlier if doubt.state == DoubtState.TAKEN]
    for doubt in earlier:
        if doubt.state not in OPEN:
            continue
        if (doubt.code, doubt.facts) in _told(asked) or (
            doubt.code == AGAINST_THE_FIT and not figures_changed
        ):
            doubt.version = session.version
            answered.append((doubt.code, doubt.facts))
        else:
            doubt.state, doubt.settled_by, doubt.settled_at = DoubtState.CORRECTED, by, now
        doubt.save(update_fields=["version", "state", "settled_by", "settled_at"])
    if not figures_changed:
        # What a fit has said of these figures holds.
        said = Return.objects.filter(pk=session.pk, looked_at_version=session.version - 1)
        said.update(looked_at_version=session.version)
    new = [one for one in asked if (one.code, dict(one.facts)) not in answered]
    return raise_doubts(session=session, questions=new, now=now)


def look_at_new(*, sessions: Iterable[Return], now: datetime) -> list[Doubt]:
    """The same about returns that have just come in, read with all their children."""
    rows = [
        doubt
        for session in sessions
        for doubt in doubts_about(session, questions_about(figures_of(session)), now)
    ]
    return list(Doubt.objects.bulk_create(rows, batch_size=_AT_ONCE)) if rows else []


def _told(questions: Iterable[Question]) -> list[tuple[str, dict[str, Any]]]:
    return [(one.code, dict(one.facts)) for one in questions]


def raise_doubts(*, session: Return, questions: Iterable[Question], now: datetime) -> list[Doubt]:
    """Doubts of the return's version, one a rule and field; the caller raises the club's revision."""
    rows = doubts_about(session, questions, now)
    return list(Doubt.objects.bulk_create(rows)) if rows else []


def doubts_about(session: Return, questions: Iterable[Question], now: datetime) -> list[Doubt]:
    """Rows yet to be written."""
    return [
        Doubt(
            club_id=session.club_id,
            session=session,
            version=session.version,
            code=one.code,
            field=one.field,
            sentence=one.sentence[:400],
            facts=dict(one.facts),
            raised_at=now,
        )
        for one in questions
    ]


def take(*, who: Membership, uid: uuid.UUID, now: datetime, reason: str) -> Doubt:
    """Take the figure as it stands: the next fit uses the return. Raises `NotFound`, `Conflict`."""
    with transaction.atomic():
        who.club.in_turn()
        doubt = _settled(who, uid, now=now, reason=reason, state=DoubtState.TAKEN, out_of=OPEN)
        who.club.raise_revision()
    return doubt


def hold(*, who: Membership, uid: uuid.UUID, now: datetime, reason: str) -> Doubt:
    """Hold the figure while somebody is asked about it: no fit uses the return meanwhile.

    Raises `NotFound`, `Conflict`. The returns of a fit are as before, so no new fit is wanted.
    """
    with transaction.atomic():
        who.club.in_turn()
        return _settled(who, uid, now=now, reason=reason, state=DoubtState.HELD, out_of=(DoubtState.WAITING,))


def _settled(
    who: Membership, uid: uuid.UUID, *, now: datetime, reason: str, state: DoubtState, out_of: Iterable[str]
) -> Doubt:
    found: Doubt | None = _looked_at_by(who).select_for_update(of=("self",)).filter(uid=uid).first()
    if found is None:
        raise NotFound("There is no such doubt.")
    if found.session.member_id == who.member.pk:
        raise Conflict("It takes a second person, whose own return it is not.", code="second_person")
    if found.state not in out_of:
        raise Conflict(f"This doubt is {found.get_state_display()} already.", field="state")
    found.state, found.settled_by, found.settled_at = state, who.account, now
    found.settled_reason = reason
    found.save(update_fields=["state", "settled_by", "settled_at", "settled_reason"])
    return found


# --- Reading ------------------------------------------------------------------------------------------


def queue(who: Membership) -> QuerySet[Doubt]:
    """The doubts that the actor looks at, with their returns. Raises `NotAllowed` for everybody else."""
    who.require(LOOKS, "look at doubts")
    return _looked_at_by(who).select_related("settled_by").prefetch_related("settled_by__memberships")


def find_doubt(who: Membership, uid: uuid.UUID) -> Doubt:
    """One doubt that the actor looks at. Raises `NotFound`, `NotAllowed`."""
    found: Doubt | None = queue(who).filter(uid=uid).first()
    if found is None:
        raise NotFound("There is no such doubt.")
    return found


def open_doubts(session: Return) -> list[Doubt]:
    """What is to be looked at of a return, the oldest first."""
    return sorted((doubt for doubt in session.doubts.all() if doubt.state in OPEN), key=lambda one: one.pk)


def doubted_returns(club_id: int) -> QuerySet[Doubt, Any]:
    """The keys of returns with a figure that somebody has yet to look at, as a subquery."""
    found: QuerySet[Doubt] = Doubt.objects.filter(club_id=club_id, state__in=OPEN)
    return found.order_by().values("session_id")


def _looked_at_by(who: Membership) -> QuerySet[Doubt]:
    who.require(LOOKS, "look at doubts")
    rows = Doubt.objects.visible_to(who.account).filter(club=who.club, session__removed_at__isnull=True)
    if not who.may(LOOKS_AT_ALL):
        rows = rows.filter(Q(session__session_kind=SessionKind.MATCH))
    found: QuerySet[Doubt] = rows.select_related(
        "session__club", "session__member", "session__peg", "session__water", "session__match"
    )
    return found


# --- From a return to figures --------------------------------------------------------------------------


def with_figures(returns: QuerySet[Return]) -> QuerySet[Return]:
    """With what the rules look at, in a constant number of queries."""
    parts = SessionPart.objects.select_related("method", "hook_bait", "feed")
    return returns.select_related("water__club").prefetch_related(
        Prefetch("parts", parts.order_by("part_order")),
        Prefetch("catch_lines", CatchLine.objects.select_related("species").order_by("pk")),
    )


def figures_of(session: Return) -> Session:
    """What the rules look at, of a return that was read `with_figures` or with all its children."""
    water = session.water
    sky = sky_for(
        latitude=float(water.latitude),
        longitude=float(water.longitude),
        on=session.fished_on,
        time_zone=zone_of(water),
    )
    return Session(
        is_match=session.session_kind == SessionKind.MATCH,
        daylight_hours=sky.day_length_hours,
        hours=None if session.hours is None else float(session.hours),
        rods=session.rods,
        # Over the net limit the total is a bound: more than that was caught.
        weight_g=None if session.outcome == Outcome.OVER_NET_LIMIT else session.weight_g,
        fish_count=session.fish_count,
        lines=tuple(
            CaughtLine(
                species=line.species.name,
                fao_code=line.species.fao_code,
                heaviest_g=line.species.heaviest_g,
                fish_count=line.fish_count,
                weight_g=line.weight_g,
                biggest_g=line.biggest_g,
                biggest_length_cm=None if line.biggest_length_cm is None else float(line.biggest_length_cm),
            )
            for line in sorted(session.catch_lines.all(), key=lambda line: int(line.pk))
        ),
        spells=tuple(
            Spell(
                method=part.method.name if part.method else "",
                hook_bait=part.hook_bait.name if part.hook_bait else "",
                feed=part.feed.name if part.feed else "",
                main_line_mm=None if part.main_line_mm is None else float(part.main_line_mm),
                hooklength_mm=None if part.hooklength_mm is None else float(part.hooklength_mm),
            )
            for part in session.parts.all()
        ),
        rules=read_water_rules(water.rules),
    )
