"""Waters against one another: standardised, with the chance that one is the better."""

import logging
from dataclasses import dataclass, replace
from uuid import UUID

from analytics.answers.freshness import FitSummary, summary_of
from analytics.answers.question import check_target
from analytics.answers.raw import RawFigures, raw_figures
from analytics.answers.scope import CLUB, scope_of
from analytics.answers.standard import Cell, Index, Interval, Scope, index_of
from analytics.answers.trends import NoTrends
from analytics.answers.trends_comparison import reading_of
from analytics.answers.trends_wording import NOT_STOCK_SIZE, TrendReference, trend_notes, trend_reference
from analytics.store import DamagedFit, StoredFit, load_fit, served_run
from clubdata.models import Club, Water

logger = logging.getLogger(__name__)

#: Waters are compared two by two up to this many, those with the most returns.
MOST_COMPARED = 20


@dataclass(frozen=True, slots=True)
class WaterRate:
    """A water's standardised catch rate, and its raw figures; None where there are none."""

    uid: UUID
    name: str
    standardised: Interval | None
    raw: RawFigures | None


@dataclass(frozen=True, slots=True)
class WaterPair:
    """The catch rate of `water` over that of `other`, and the chance that the first is the higher."""

    water: str
    other: str
    ratio: Interval
    chance_higher: float
    reading: str


@dataclass(frozen=True, slots=True)
class WaterTrends:
    """The waters, the best first, and each against each; or `no_trends` and why."""

    target: str
    reference: TrendReference | None
    waters: tuple[WaterRate, ...]
    pairs: tuple[WaterPair, ...]
    no_trends: NoTrends | None
    notes: tuple[str, ...]
    fit: FitSummary | None


def water_trends(*, club: Club, target: str, sees_all: bool) -> WaterTrends:
    """The club's waters against one another, as its promoted fit has it.

    :raises InvalidInput: the club counts no such group of species.
    """
    if target:
        check_target(club=club, target=target)
    answer = WaterTrends(target, None, (), (), None, (NOT_STOCK_SIZE,), None)
    run = served_run(club=club, target=target)
    if run is None:
        return replace(answer, no_trends=NoTrends("no_fit", "There is no fit to compare the waters by."))
    club.refresh_from_db(fields=["revision"])
    fit = summary_of(run, club_revision=club.revision)
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        logger.error("fit damaged: %s", damage.message, extra={"run_uid": str(run.uid)})
        return replace(answer, fit=fit, no_trends=NoTrends(damage.code, damage.message))
    scope = scope_of(stored.estimates, stored.observed.get("series", {}), CLUB)
    if scope is None:
        nothing = NoTrends("no_returns_on_water", "The fit has no returns of any water.")
        return replace(answer, fit=fit, no_trends=nothing)
    names = {uid.hex: name for uid, name in Water.objects.filter(club=club).values_list("uid", "name")}
    return replace(
        _compared(answer, stored, scope, names, sees_all=sees_all),
        reference=trend_reference(stored.estimates, scope, names, by="waters", year=None),
        notes=trend_notes(fit, by="waters", studied=None, target=target),
        fit=fit,
    )


def _compared(
    answer: WaterTrends, stored: StoredFit, scope: Scope, names: dict[str, str], *, sees_all: bool
) -> WaterTrends:
    index = index_of(stored.estimates, scope, [Cell(code, {code: 1.0}) for code in scope.waters])
    observed = stored.observed["series"]
    raw = {
        code: raw_figures(observed, "all", code, sees_all=sees_all).get("")
        for code in observed["rates"]["all"]["all"]
        if code != CLUB and code in names
    }
    best_first = sorted(raw, key=lambda code: -_rate(index, code))
    return replace(
        answer,
        waters=tuple(
            WaterRate(UUID(hex=code), names[code], index.at(code), raw[code]) for code in best_first
        ),
        pairs=_pairs(index, [code for code in best_first if code in index.keys], stored, names),
    )


def _rate(index: Index, code: str) -> float:
    found = index.at(code)
    return 0.0 if found is None else found.estimate


def _pairs(index: Index, codes: list[str], stored: StoredFit, names: dict[str, str]) -> tuple[WaterPair, ...]:
    rows = stored.observed["series"]["rates"]["all"]["all"]
    most = sorted(codes, key=lambda code: -(rows[code][0][1] if rows.get(code) else 0))[:MOST_COMPARED]
    kept = [code for code in codes if code in set(most)]
    return tuple(_pair(index, code, other, names) for at, code in enumerate(kept) for other in kept[at + 1 :])


def _pair(index: Index, code: str, other: str, names: dict[str, str]) -> WaterPair:
    ratio = index.ratio(code, other)
    assert ratio is not None  # noqa: S101 - both are in the index
    one, two = names[code], names[other]
    reading = reading_of(ratio.chance_higher, up=f"{one} above {two}", down=f"{one} below {two}")
    return WaterPair(one, two, ratio.ratio, ratio.chance_higher, reading)
