"""What an answer says in words: the reference it stands under, and what to bear in mind."""

from calendar import month_name
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from analytics.answers.choices import Choice, blanks_in_words, spoken
from analytics.answers.freshness import FitSummary
from analytics.answers.places import Place
from analytics.answers.question import ANY_DAY, Day, When
from analytics.answers.support import FURTHEST_M, WaterSupport
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.features import wind_class
from analytics.catchrate.spec import MATCH, UNKNOWN, DidNotWeigh
from analytics.catchrate.terms import LearnedSmooth
from clubdata.rules.cautions import Caution
from clubdata.rules.wind import beaufort_name

#: With fewer returns than this a peg is answered for as a typical peg of its water.
LEAST_AT_PEG = 5
DAYS_UNTIL_OLD = 365

ASSOCIATION = (
    "Weights go with baits, distances and rig types here, adjusted for who fished, where and when, and for "
    "wind and temperature: an association, not proof of cause. Anglers record the bait that caught."
)
#: Cautions so grave that the headline opens with them.
_OPENINGS = {
    "close_season": "Closed to coarse fishing by the national close season? Check first. ",
    "gale": "A gale is no weather for a bank side: stay at home. ",
}


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


def reference_of(
    estimates: Estimates,
    *,
    session_kind: str,
    hours: float,
    month: int,
    day: Day = ANY_DAY,
    target: str = "",
) -> Reference:
    """The reference of a question: what it did not name stands as the estimates state it."""
    usual = estimates.reference
    force, celsius = day.wind_force, day.water_temperature_c
    temperature = usual.water_temperature_by_month[month - 1] if celsius is None else celsius
    averaged = _averaged(estimates, session_kind)
    over = f", averaged over the club's {' and '.join(averaged)}" if averaged else ""
    alone = f", of {target} alone" if target else ""
    sentence = f"A {session_kind} session of {hours:g} hours{alone}, as in {usual.year}, "
    return Reference(
        session_kind=session_kind,
        hours=hours,
        year=usual.year,
        wind=usual.wind if force is None else wind_class(force),
        water_temperature_c=temperature,
        averaged_over=averaged,
        sentence=f"{sentence}{_wind(usual.wind, force)}{_water(temperature, celsius, month)}{over}.",
    )


def headline_of(
    *, place: Place, when: When, hours: float, first: Choice, cautions: tuple[Caution, ...]
) -> str:
    """One sentence for a phone, of the first choice."""
    session = first.one_session
    low = spoken(session.at(0.1).weight_g)
    if low:
        tail = f"9 in 10 sessions bring more than {low}"
    else:
        tail = f"single sessions differ far more, {blanks_in_words(session.chance_of_blank)}"
    opening = "".join(_OPENINGS.get(caution.code, "") for caution in cautions)
    about = spoken(first.expected_g) or "less than 1 oz"
    return f"{opening}{_where(place)} {when.words}, {hours:g} h: {first.words} — about {about}; {tail}."


def no_headline(*, place: Place, when: When, reason: str) -> str:
    """One sentence for a phone where there is no choice."""
    return f"{_where(place)} {when.words}: no advice. {reason}"


def notes_of(
    *,
    fit: FitSummary,
    estimates: Estimates,
    place: Place,
    at_peg: int | None,
    support: WaterSupport,
    when: When,
    day: Day,
    by_these_methods: int | None,
    today: date,
) -> tuple[str, ...]:
    """What the reader should bear in mind, the gravest first.

    `by_these_methods` counts the water's returns by the methods asked for, None when none were.
    """
    return (
        *_of_peg(place, at_peg),
        *_of_fit(fit, today),
        "The interval is for the mean: single sessions differ far more.",
        *_of_day(estimates, day),
        *_of_distance(support),
        *_of_month(fit, when.month),
        *_of_methods(by_these_methods),
    )


def _where(place: Place) -> str:
    return place.water.name if place.asked is None else f"Peg {place.asked.peg.label}"


def _wind(usual: str, force: int | None) -> str:
    if force is not None:
        return f"wind of Beaufort force {force} ({beaufort_name(force)})"
    return "wind not recorded" if usual == UNKNOWN else f"wind of Beaufort force {usual}"


def _water(temperature: float | None, asked: float | None, month: int) -> str:
    if asked is not None:
        return f", water at {asked:g} °C"
    if temperature is None:
        return ""
    return f", water at the usual {temperature:.0f} °C of {month_name[month]}"


def _averaged(estimates: Estimates, session_kind: str) -> tuple[str, ...]:
    anglers = ("anglers",) if estimates.term("angler") is not None else ()
    days = ("match days",) if session_kind == MATCH and estimates.term("match_day") is not None else ()
    return (*days, *anglers)


def _of_day(estimates: Estimates, day: Day) -> Iterator[str]:
    """What the fit cannot make of the conditions of the day."""
    if day.tow:
        yield (
            f"The fit does not know how weights go with the tow: that it is {day.tow} changes no weight "
            "here, only the cautions."
        )
    if day.wind_force is not None and estimates.term("wind") is None:
        yield "The fit does not know how weights go with the wind: it changes no weight here."
    if day.water_temperature_c is not None:
        yield from _of_temperature(estimates, day.water_temperature_c)


def _of_temperature(estimates: Estimates, celsius: float) -> Iterator[str]:
    item = estimates.term("water_temperature")
    if item is None:
        yield "The fit does not know how weights go with the water temperature: it changes no weight here."
    elif isinstance(item.term, LearnedSmooth):
        (margin,) = item.term.margins
        if not margin.lower <= celsius <= margin.upper:
            yield (
                f"The returns span water of {margin.lower:g} to {margin.upper:g} °C: {celsius:g} °C is "
                "answered for as the nearer end."
            )


def _of_peg(place: Place, at_peg: int | None) -> Iterator[str]:
    if place.asked is None:
        yield (
            "This is for a peg of usual form, as the club's pegs go: what is said of one by name may lie "
            "higher or lower."
        )
    elif at_peg is not None and at_peg < LEAST_AT_PEG:
        yield (
            f"{_returns(at_peg)} from peg {place.asked.peg.label}: too few to tell it from its neighbours. "
            "This is for the water as a whole, with the usual spread between pegs in the interval."
        )


def _of_fit(fit: FitSummary, today: date) -> Iterator[str]:
    if fit.stale:
        yield "Returns have come in or changed since this was worked out; a new fit will follow."
    if (today - fit.last_on).days > DAYS_UNTIL_OLD:
        day = f"{fit.last_on.day} {fit.last_on:%B %Y}"
        yield f"The latest return is of {day}, more than a year ago: the water may have changed."
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


def _of_methods(count: int | None) -> Iterator[str]:
    if count is not None:
        yield (
            f"Only what {count:,} returns by these methods speak for is offered; the weights themselves, and "
            "who and how recent stand behind them, are of all methods together."
        )


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _returns(count: int) -> str:
    return f"{count:,} return{'' if count == 1 else 's'}"
