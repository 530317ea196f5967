"""What a trend says in words: the reference it stands on, and what to bear in mind."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from analytics.answers.freshness import FitSummary
from analytics.answers.scope import CLUB
from analytics.answers.standard import Scope
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.spec import MATCH, UNKNOWN, DidNotWeigh

#: The sentence that stands with every trend.
NOT_STOCK_SIZE = (
    "A catch rate is not stock size: it also follows how easily the fish are caught, and who goes where "
    "when it fishes well. Fish that are not there in greater number may still be easier to catch."
)
_AVERAGED = "the club's average angler"
#: What a trend goes by of which nothing is standardised.
RAW_ALONE = ("species", "effort")


@dataclass(frozen=True, slots=True)
class WaterWeight:
    """How much a water counts in a trend of the club."""

    uid: UUID
    name: str
    weight: float


@dataclass(frozen=True, slots=True)
class TrendReference:
    """What every standardised value stands on, and the same as a sentence. `hours` are rod-hours."""

    hours: float
    session_kind: str
    wind: str
    year: str
    pegs: str
    hook_bait: str
    distance: str
    angler: str
    months: str
    waters: tuple[WaterWeight, ...]
    sentence: str


def trend_reference(
    estimates: Estimates, scope: Scope, names: Mapping[str, str], *, by: str, year: str | None
) -> TrendReference:
    """The reference of a trend `by` something; what it goes by does not stand still."""
    usual = estimates.reference
    kind = usual.session_kind
    wind = "not recorded" if usual.wind == UNKNOWN else f"Beaufort force {usual.wind}"
    moves = by in {"year", "year-month"}
    standing_year = "each year" if moves else (year or usual.year)
    pegs = "each water's own pegs alike" if scope.code == CLUB else "the water's own pegs alike"
    months = {
        "year": "the twelve months alike",
        "temperature": "the twelve months alike",
        "distance-season": "the season's three months alike",
        "waters": "the twelve months alike",
    }.get(by, "the month itself")
    bait = "the bait itself" if by == "bait-month" else "the club's baits as often as they were used"
    distance = "the middle of each distance bin" if by == "distance-season" else "the mean distance"
    days = " and match day" if kind == MATCH and estimates.term("match_day") is not None else ""
    return TrendReference(
        hours=1.0,
        session_kind=kind,
        wind=wind,
        year=standing_year,
        pegs=pegs,
        hook_bait=bait,
        distance=distance,
        angler=_AVERAGED + days,
        months=months,
        waters=tuple(
            WaterWeight(UUID(hex=code), names.get(code, ""), weight) for code, weight in scope.waters.items()
        ),
        sentence=(
            f"Grams a rod-hour of {_AVERAGED}{days} in a {kind} session: {pegs}, {bait}, {distance}, wind "
            f"{wind}, {months}, {standing_year}{_waters(scope, by)}."
        ),
    )


def _waters(scope: Scope, by: str) -> str:
    if scope.code != CLUB or len(scope.waters) < 2 or by == "waters":
        return ""
    return "; the waters count by the number of their pegs that were fished"


def trend_notes(
    fit: FitSummary,
    *,
    by: str,
    studied: Mapping[str, Any] | None,
    target: str = "",
    handed_in: bool = False,
) -> tuple[str, ...]:
    """What the reader should bear in mind, the gravest first; `handed_in` where compliance is told too.

    A run of one group of species, the `target`, has no study of its own.
    """
    standardised = () if by in RAW_ALONE else (*_of_fit(fit), *_of_study(by, studied, target))
    return (NOT_STOCK_SIZE, *_of_age(fit), *standardised, *_of_series(by, handed_in=handed_in))


def _of_age(fit: FitSummary) -> Iterator[str]:
    if fit.stale:
        yield "Returns have come in or changed since this was worked out; a new fit will follow."


def _of_fit(fit: FitSummary) -> Iterator[str]:
    unknown = fit.rows_left_out.get("did_not_weigh", 0)
    if unknown and fit.did_not_weigh == DidNotWeigh.LEFT_OUT:
        yield f"{unknown:,} returns that did not weigh are left out: what they caught is not known."
    yield (
        "Raw figures follow where, when and by whom it was fished; standardised ones are adjusted for that. "
        "Either is an association, not proof of cause."
    )
    yield (
        "Standardised values are of a middling peg, bait and angler (means of logs), while a few heavy "
        "catches carry a raw mean: they mostly lie below it throughout. Compare the shapes of the two, not "
        "their heights."
    )


def _of_series(by: str, *, handed_in: bool) -> Iterator[str]:
    match by:
        case "year-month":
            yield "The season has one shape in all years here: months of a year differ by that year's level."
        case "bait-month":
            yield "A bait's months lean on the months beside them; those with few returns lean on them most."
        case "distance-season":
            yield "Distances are those recorded by who chose to fish there: nobody was told where to fish."
        case "temperature":
            yield "What a change of water temperature goes with at one time of the year, not over the year."
        case "species":
            yield "Only returns with a catch list count here, and these may not be like the others."
        case "effort" if handed_in:
            yield (
                "On the books of a month is who had joined by its end and not left before it; saying that "
                "one did not fish counts as handing in."
            )


def _of_study(by: str, studied: Mapping[str, Any] | None, target: str) -> Iterator[str]:
    if target:
        yield (
            f"Of {target} alone: from returns whose catch list accounts for their weight, and from blanks. "
            "Those without a list may not be like them."
        )
    if by != "year":
        return
    if target:
        yield "Years are held against other returns and readings for everything caught, not for one group."
        return
    if studied is None:
        yield "The fits beside this one (matches only, did not weigh three ways) are still being made."
    elif not studied.get("same_rows", True):
        yield "The fits beside this one have returns that came in after it."
