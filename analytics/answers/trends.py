"""Trends of a club or a water: what an analyst reads, standardised and raw side by side."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from uuid import UUID

from analytics.answers.freshness import FitSummary, summary_of
from analytics.answers.question import check_target
from analytics.answers.raw import (
    Compliance,
    Effort,
    SpeciesCaught,
    Told,
    compliances,
    efforts,
    species_caught,
    told,
)
from analytics.answers.scope import CLUB, scope_of
from analytics.answers.standard import years_of
from analytics.answers.trends_comparison import YearComparison, disagreements, year_comparisons
from analytics.answers.trends_points import RAW_SERIES, Series, TrendPoint, points_of
from analytics.answers.trends_wording import (
    NOT_STOCK_SIZE,
    RAW_ALONE,
    TrendReference,
    trend_notes,
    trend_reference,
)
from analytics.models import FitRun, FitStudy
from analytics.store import DamagedFit, StoredFit, load_fit, served_run
from clubdata.errors import NotFound
from clubdata.models import Club, HookBait, Species, Water, WaterEvent

logger = logging.getLogger(__name__)

#: What a trend may go by; the last two are raw alone.
BY = (*RAW_SERIES, *RAW_ALONE)


@dataclass(frozen=True, slots=True)
class TrendQuestion:
    """A trend of a water, or of the club when none is named, of everything or of one group of species.

    `year` is where standardised values stand, and to which raw months are narrowed; the fit's latest else.
    """

    by: str = "month"
    water: UUID | None = None
    year: int | None = None
    target: str = ""


@dataclass(frozen=True, slots=True)
class NoTrends:
    """Why nothing is standardised: a stable code and a sentence."""

    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class TrendEvent:
    """What happened at a water and may show in its returns."""

    water: str
    kind: str
    started_on: date
    ended_on: date | None
    note: str


@dataclass(frozen=True, slots=True)
class NamedSpecies:
    """A species by the club's name, with what was caught of it."""

    name: str
    caught: SpeciesCaught


@dataclass(frozen=True, slots=True)
class Trends:
    """The answer. Of `points`, `comparisons`, `species` and `effort` those are filled that it goes by.

    Nothing here speaks of a person: there are counts of anglers and no names.
    """

    by: str
    target: str
    water_uid: UUID | None
    water: str | None
    year: str | None
    reference: TrendReference | None
    points: tuple[TrendPoint, ...]
    comparisons: tuple[YearComparison, ...]
    species: tuple[NamedSpecies, ...]
    told: tuple[Told, ...]
    effort: tuple[Effort, ...]
    compliance: tuple[Compliance, ...]
    events: tuple[TrendEvent, ...]
    no_trends: NoTrends | None
    notes: tuple[str, ...]
    fit: FitSummary | None


def trends(*, club: Club, question: TrendQuestion, sees_all: bool) -> Trends:
    """A trend as the club's promoted fit has it. `sees_all` shows figures of few anglers as well.

    :raises NotFound: no such water.
    :raises InvalidInput: the club counts no such group of species.
    """
    names = {uid.hex: name for uid, name in Water.objects.filter(club=club).values_list("uid", "name")}
    code = CLUB if question.water is None else question.water.hex
    if code != CLUB and code not in names:
        raise NotFound("There is no such water.", field="water")
    if question.target:
        check_target(club=club, target=question.target)
    answer = _bare(question, names.get(code), _events(club, code))
    run = served_run(club=club, target=question.target)
    if run is None:
        return replace(answer, no_trends=_no_run(question.target))
    club.refresh_from_db(fields=["revision"])
    fit = summary_of(run, club_revision=club.revision)
    answer = replace(answer, fit=fit)
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        logger.error("fit damaged: %s", damage.message, extra={"run_uid": str(run.uid)})
        return replace(answer, no_trends=NoTrends(damage.code, damage.message))
    asked = _Asked(club, run, stored, names, code, sees_all)
    return _answered(answer, fit, asked)


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """What an answer is read from: `names` of waters, and the `code` of the one asked about or the club."""

    club: Club
    run: FitRun
    stored: StoredFit
    names: Mapping[str, str]
    code: str
    sees_all: bool


def _answered(answer: Trends, fit: FitSummary, asked: _Asked) -> Trends:
    stored, code, sees_all = asked.stored, asked.code, asked.sees_all
    observed = stored.observed.get("series", {})
    if answer.by == "effort":
        notes = trend_notes(fit, by=answer.by, studied=None, handed_in=code == CLUB)
        return replace(_of_effort(answer, observed, code, sees_all=sees_all), notes=notes)
    if answer.by == "species":
        notes = trend_notes(fit, by=answer.by, studied=None)
        return replace(_of_species(answer, asked.club, observed, code, sees_all=sees_all), notes=notes)
    scope = scope_of(stored.estimates, observed, code)
    if scope is None:
        reason = "The fit has no returns of this water." if code else "The fit has no returns of any water."
        return replace(answer, no_trends=NoTrends("no_returns_on_water", reason))
    known = years_of(stored.estimates)
    if answer.year is not None and answer.year not in known:
        reason = f"The fit has no returns of {answer.year}: it speaks of {known[0]} to {known[-1]}."
        return replace(answer, no_trends=NoTrends("year_not_fished", reason))
    baits = _names(HookBait, asked.club) if answer.by == "bait-month" else {}
    series = Series(stored.estimates, observed, scope, baits, sees_all)
    points, index = points_of(series, by=answer.by, year=answer.year)
    study = _study(asked.run) if answer.by == "year" else None
    compared = year_comparisons(index, study, code, answer.year) if answer.by == "year" else ()
    return replace(
        answer,
        reference=trend_reference(stored.estimates, scope, asked.names, by=answer.by, year=answer.year),
        points=points,
        comparisons=compared,
        notes=(
            *trend_notes(fit, by=answer.by, studied=study, target=answer.target),
            *disagreements(compared),
        ),
    )


def _of_effort(answer: Trends, observed: Mapping[str, Any], code: str, *, sees_all: bool) -> Trends:
    """Months of the year asked about, or all; who handed something in is told of the club alone."""
    wanted = "" if answer.year is None else f"{answer.year}-"
    effort = efforts(observed, code, sees_all=sees_all)
    handed_in = compliances(observed, sees_all=sees_all) if code == CLUB else ()
    return replace(
        answer,
        effort=tuple(item for item in effort if item.month.startswith(wanted)),
        compliance=tuple(item for item in handed_in if item.month.startswith(wanted)),
    )


def _of_species(
    answer: Trends, club: Club, observed: Mapping[str, Any], code: str, *, sees_all: bool
) -> Trends:
    names = _names(Species, club)
    year = answer.year
    found = species_caught(observed, code, sees_all=sees_all)
    return replace(
        answer,
        species=tuple(
            NamedSpecies(names.get(item.code, ""), item) for item in found if year in {None, item.year}
        ),
        told=tuple(item for item in told(observed, code, sees_all=sees_all) if year in {None, item.year}),
    )


def _bare(question: TrendQuestion, water: str | None, events: tuple[TrendEvent, ...]) -> Trends:
    """What holds whether or not there is a fit."""
    return Trends(
        by=question.by,
        target=question.target,
        water_uid=question.water,
        water=water,
        year=None if question.year is None else str(question.year),
        reference=None,
        points=(),
        comparisons=(),
        species=(),
        told=(),
        effort=(),
        compliance=(),
        events=events,
        no_trends=None,
        notes=(NOT_STOCK_SIZE,),
        fit=None,
    )


def _no_run(target: str) -> NoTrends:
    if target:
        reason = f"The club's returns tell too little of {target}, or its fit is still being made."
        return NoTrends("no_fit_of_group", reason)
    return NoTrends("no_fit", "No fit of the club's returns has come out yet.")


def _events(club: Club, code: str) -> tuple[TrendEvent, ...]:
    found = WaterEvent.objects.filter(club=club).select_related("water").order_by("started_on", "pk")
    if code != CLUB:
        found = found.filter(water__uid=UUID(hex=code))
    return tuple(
        TrendEvent(event.water.name, event.kind, event.started_on, event.ended_on, event.note)
        for event in found
    )


def _names(kind: Any, club: Club) -> dict[str, str]:
    return {uid.hex: name for uid, name in kind.objects.filter(club=club).values_list("uid", "name")}


def _study(run: FitRun) -> Mapping[str, Any] | None:
    """The study of a run; a run of one group of species has none of its own."""
    document: Mapping[str, Any] | None = (
        FitStudy.objects.filter(run_id=run.pk).values_list("document", flat=True).first()
    )
    return document
