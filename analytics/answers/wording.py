"""What an answer says in words: the reference it stands under, and what to bear in mind."""

from calendar import month_name
from collections.abc import Iterator
from dataclasses import dataclass

from analytics.answers.freshness import FitSummary
from analytics.answers.places import Place
from analytics.answers.support import FURTHEST_M, WaterSupport
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.spec import MATCH, UNKNOWN, DidNotWeigh

#: With fewer returns than this a peg is answered for as a typical peg of its water.
LEAST_AT_PEG = 5


@dataclass(frozen=True, slots=True)
class Reference:
    """The conditions under which the expected weights stand, and the same as a sentence."""

    session_kind: str
    hours: float
    year: str
    wind: str
    water_temperature_c: float | None
    averaged_over: tuple[str, ...]
    sentence: str


def reference_of(estimates: Estimates, *, session_kind: str, hours: float, month: int) -> Reference:
    """The reference of a question: what it did not name stands as the estimates state it."""
    usual = estimates.reference
    temperature = usual.water_temperature_by_month[month - 1]
    averaged = _averaged(estimates, session_kind)
    wind = "wind not recorded" if usual.wind == UNKNOWN else f"wind of Beaufort force {usual.wind}"
    water = "" if temperature is None else f", water at the usual {temperature:.0f} °C of {month_name[month]}"
    over = f", averaged over the club's {' and '.join(averaged)}" if averaged else ""
    return Reference(
        session_kind=session_kind,
        hours=hours,
        year=usual.year,
        wind=usual.wind,
        water_temperature_c=temperature,
        averaged_over=averaged,
        sentence=f"A {session_kind} session of {hours:g} hours, as in {usual.year}, {wind}{water}{over}.",
    )


def notes_of(
    *, fit: FitSummary, place: Place, at_peg: int | None, support: WaterSupport, month: int
) -> tuple[str, ...]:
    """What the reader should bear in mind, the gravest first."""
    return (
        *_of_peg(place, at_peg),
        *_of_fit(fit),
        "Weights go with baits, distances and rig types here, adjusted for water, peg, angler, season, "
        "wind, temperature and match day: an association, not proof of cause. Anglers record the bait "
        "that caught.",
        "The interval is for the mean: single sessions differ far more.",
        *_of_distance(support),
        *_of_month(fit, month),
    )


def _averaged(estimates: Estimates, session_kind: str) -> tuple[str, ...]:
    anglers = ("anglers",) if estimates.term("angler") is not None else ()
    days = ("match days",) if session_kind == MATCH and estimates.term("match_day") is not None else ()
    return (*days, *anglers)


def _of_peg(place: Place, at_peg: int | None) -> Iterator[str]:
    if place.asked is None:
        yield "This is for a typical peg of the water."
    elif at_peg is not None and at_peg < LEAST_AT_PEG:
        yield (
            f"{_returns(at_peg)} from peg {place.asked.peg.label}: too few to tell it from its neighbours. "
            "This is for the water as a whole, with the usual spread between pegs in the interval."
        )


def _of_fit(fit: FitSummary) -> Iterator[str]:
    if fit.stale:
        yield "Returns have come in or changed since this was worked out; a new fit will follow."
    yield _of_unweighed(fit)
    over = fit.rows_left_out.get("over_net_limit", 0)
    if over:
        yield (
            f"{_returns(over)} over the net limit {_are(over)} left out, since the whole weight is not "
            "known: good pegs and baits look a little worse than they are."
        )
    counted = fit.rows_left_out.get("counted_only", 0)
    if counted:
        yield (
            f"{_returns(counted)} that counted fish without weighing them {_are(counted)} left out while "
            "blanks are kept: this may look a little worse than it is."
        )
    if fit.bounded:
        yield (
            f"{_returns(fit.bounded)} {_are(fit.bounded)} used for the bounds that the weight lies between, "
            "not as a weight: over the net limit, say, or counted without weighing."
        )
    if fit.estimated:
        yield f"{_returns(fit.estimated)} {_are(fit.estimated)} of estimated weight, and told less surely."
    if fit.several_parts:
        yield (
            f"{_returns(fit.several_parts)} of several baits, rig types or distances with one weight: the "
            "weight is shared over the parts in proportion to what each is expected to give."
        )


def _of_unweighed(fit: FitSummary) -> str:
    """What was made of weights that nobody knows: in every answer, also where there were none."""
    match DidNotWeigh(fit.did_not_weigh):
        case DidNotWeigh.AS_ZERO:
            return (
                "Anglers who did not weigh in count as having caught nothing: if they tipped back what they "
                "had, this looks worse than it is."
            )
        case DidNotWeigh.CENSORED:
            return (
                "Anglers who did not weigh in count as having caught something between nothing and a usual "
                "weight of the water: where in between is not known."
            )
        case DidNotWeigh.LEFT_OUT:
            unknown = fit.rows_left_out.get("did_not_weigh", 0)
            if not unknown:
                return "Anglers who did not weigh in would be left out; there were none."
            return (
                f"{_returns(unknown)} of anglers who did not weigh in {_are(unknown)} left out: what they "
                "caught is not known. If they had little, this looks better than it is."
            )


def _of_distance(support: WaterSupport) -> Iterator[str]:
    if support.beyond:
        yield f"{_returns(support.beyond)} from beyond {FURTHEST_M:g} m, and no choice lies there."


def _of_month(fit: FitSummary, month: int) -> Iterator[str]:
    days = (fit.last_on - fit.first_on).days
    if days < 365:
        yield (
            f"The returns span {days} days, less than a year: what is said of {month_name[month]} leans on "
            "the months around it."
        )


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _returns(count: int) -> str:
    return f"{count:,} return{'' if count == 1 else 's'}"
