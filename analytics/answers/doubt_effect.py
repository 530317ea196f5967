"""What taking a doubted figure as it stands would change: the multipliers of its peg, bait, month and water.

One step from the fit that serves (`analytics.catchrate.one_step`): an approximation, not a fit. `before` is
without the return, `after` with it, whether or not the fit that serves holds it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from uuid import UUID

import numpy as np
from django.db.models import Q

from analytics.answers.footing import NoAnswer
from analytics.answers.own_numbers import KNOWN, questions_of
from analytics.catchrate.estimates import Estimates, TermEstimate
from analytics.catchrate.one_step import Day, OneStep, step_of
from analytics.catchrate.questions import Asked, ask
from analytics.catchrate.terms import LearnedFactor
from analytics.models import FitRun
from analytics.store import DamagedFit, load_fit, served_run
from clubdata.models import Doubt, DoubtState, Outcome, Return
from clubdata.services.doubts import doubted_returns

#: What moves, and the terms of the fit whose product it is.
_TERMS: Final = {
    "peg": ("peg",),
    "bait": ("hook_bait", "hook_bait_month"),
    "month": ("season",),
    "water": ("water",),
}
_NOTES: Final = (
    "One step from the fit that serves, its variances held: an approximation. The next fit says more.",
    "The month is that of the return's day on the curve of the season; the bait is the bait in that month.",
)


@dataclass(frozen=True, slots=True)
class Move:
    """A factor on the expected weight without the return, and with it; `of` says of what, `name` of which."""

    of: str
    name: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Effect:
    """What the return does to the fit, or why nothing is said. Weights are the session's, in grams."""

    run: UUID | None
    expected_g: float | None
    weight_g: int | None
    leverage: float | None
    moves: tuple[Move, ...]
    no_answer: NoAnswer | None
    notes: tuple[str, ...]


def effect_of(doubt: Doubt) -> Effect:
    """The effect of the doubt's return as it stands now on the fit that serves its club."""
    if doubt.state == DoubtState.CORRECTED:
        return _none("corrected", "The figure was corrected: the return no longer says this.")
    sessions = _day_of(doubt.session)
    session = sessions[0]
    if session.outcome not in KNOWN or not session.hours:
        return _none("weight_not_known", "A fit has no exact weight of this return.")
    run = served_run(club=session.club)
    if run is None:
        return _none("no_fit_yet", "No fit of the club's returns has come out yet.")
    try:
        estimates = load_fit(run).estimates
    except DamagedFit as damage:
        return _none(damage.code, damage.message)
    is_in = _is_in(run, doubt, session)
    day = _asked_of(estimates, sessions)
    found = step_of(estimates, day, is_in=is_in)
    return Effect(
        run=run.uid,
        expected_g=found.mean_g,
        weight_g=session.weight_g,
        leverage=found.leverage,
        moves=_moves(estimates, ask(estimates, day.questions), found, session, is_in=is_in),
        no_answer=None,
        notes=_NOTES,
    )


def _none(code: str, reason: str) -> Effect:
    return Effect(None, None, None, None, (), NoAnswer(code, reason), ())


def _day_of(doubted: Return) -> list[Return]:
    """The return, then the others of its match that a fit uses: they share the day's luck."""
    others = Q(pk=doubted.pk)
    if doubted.match_id is not None:
        doubted_too = Q(pk__in=doubted_returns(doubted.club_id))
        others |= Q(match_id=doubted.match_id, outcome__in=KNOWN) & ~doubted_too
    rows = Return.objects.filter(others, club_id=doubted.club_id).select_related(
        "club", "water", "peg", "member", "match", "conditions"
    )
    found = list(rows.prefetch_related("parts__hook_bait", "parts__rig_type").order_by("pk"))
    return sorted(found, key=lambda session: session.pk != doubted.pk)


def _is_in(run: FitRun, doubt: Doubt, session: Return) -> bool:
    """Whether the run's rows held the return as it stands: it was there when they were read, and no doubt of
    it was open then."""
    began = None if run.job is None else run.job.started_at
    if began is None or (session.changed_at or session.entered_at) > began:
        return False
    was_settled = (
        doubt.state == DoubtState.TAKEN and doubt.settled_at is not None and doubt.settled_at < began
    )
    return bool(was_settled or doubt.raised_at > run.fitted_at)


def _asked_of(estimates: Estimates, sessions: Sequence[Return]) -> Day:
    questions, starts, matches = questions_of(sessions)
    parts = np.diff([*starts, len(questions)])
    anglers = [None if session.guest else session.member.uid.hex for session in sessions]
    years = [_year(estimates, session) for session in sessions]
    asked = replace(
        questions,
        angler=[who for who, count in zip(anglers, parts, strict=True) for _ in range(count)],
        year=[year for year, count in zip(years, parts, strict=True) for _ in range(count)],
    )
    estimated = np.array([session.outcome == Outcome.ESTIMATED for session in sessions])
    return Day(
        questions=asked,
        starts=starts,
        weight_g=np.array([float(session.weight_g or 0) for session in sessions]),
        dispersion=np.where(estimated, estimates.estimated_dispersion, estimates.dispersion),
        day_effect=_day_effect(estimates, sessions[0]),
        is_match=bool(matches[0]),
    )


def _year(estimates: Estimates, session: Return) -> str | None:
    item, year = estimates.term("year"), str(session.fished_on.year)
    if item is None or not isinstance(item.term, LearnedFactor):
        return year
    return year if year in {*item.term.levels, item.term.reference} else None


def _day_effect(estimates: Estimates, session: Return) -> float:
    item = estimates.term("match_day")
    if item is None or session.match is None:
        return 0.0
    return item.effects().get(session.match.uid.hex, (0.0, 0.0))[0]


def _moves(
    estimates: Estimates, asked: Asked, found: OneStep, session: Return, *, is_in: bool
) -> tuple[Move, ...]:
    """Of the session's first part."""
    part = next(iter(session.parts.all()), None)
    bait = None if part is None or part.hook_bait is None else part.hook_bait.name
    names = {
        "peg": None if session.peg is None else session.peg.label,
        "bait": bait,
        "month": f"{session.fished_on:%B}",
        "water": session.water.name,
    }
    moves = []
    for of, terms in _TERMS.items():
        items = [item for item in map(estimates.term, terms) if item is not None and item.start is not None]
        name = names[of]
        if name is None or not items:
            continue
        stands, move = (
            sum(values) for values in zip(*(_logs(asked, item, found) for item in items), strict=True)
        )
        before = stands - move if is_in else stands
        moves.append(Move(of, name, float(np.exp(before)), float(np.exp(before + move))))
    return tuple(moves)


def _logs(asked: Asked, item: TermEstimate, found: OneStep) -> tuple[float, float]:
    """What the term contributes to the first part as the fit stands, and the step's move of it."""
    assert item.start is not None  # noqa: S101 - asked of terms in the joint covariance
    encoded = asked.terms[item.name]
    stands = float(encoded.spread(np.asarray(item.estimates))[0])
    move = float(encoded.spread(found.moves[item.start : item.start + item.term.size])[0])
    if encoded.unseen is not None and encoded.unseen[0]:
        move += item.prior_sd**2 * found.push
    return stands, move
