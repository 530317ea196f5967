"""How much the club knows of a choice: what stands behind each part of it, and the word for it."""

from dataclasses import dataclass
from datetime import date

from analytics.answers.support import Tally
from analytics.observed.privacy import LEAST_ANGLERS
from clubdata.rules.units import format_pounds_ounces

A_LOT, A_FAIR_AMOUNT, A_LITTLE = "a lot", "a fair amount", "a little"

FEWER = f"fewer than {LEAST_ANGLERS}"

#: The rule behind `how_much_we_know`, as an answer shows it: word, returns near the distance, returns in
#: the month, how many times the lower end of the interval its upper end may be, years since the last
#: return near the distance, members.
_RULE = ((A_LOT, 30, 10, 2.0, 2, LEAST_ANGLERS), (A_FAIR_AMOUNT, 10, 3, 3.0, 4, 1))
KNOWLEDGE_RULE = (
    "'a lot': at least 30 returns with this bait on this water within 1 m of the distance, of at least 5 "
    "members, the last of them within 2 years of the latest return of all, at least 10 with it in this "
    "month, and the upper end of the 90 % interval at most 2 times the lower; 'a fair amount': at least 10, "
    "within 4 years, at least 3, and at most 3 times; 'a little': anything less."
)


#: A choice of which little is known is worth trying with at least this chance to lie above the first.
WORTH_A_CHANCE = 0.25
WORTH_TRYING_RULE = (
    "'worth trying': not the first, little known of it, at least 1 chance in 4 that it lies above the first, "
    "and the upper end of its 90 % interval above the first's expected weight."
)


@dataclass(frozen=True, slots=True)
class Part:
    """What stands behind one part of an answer: how many used returns, how recent, of how many members.

    Of fewer than five members neither their number nor the day is shown (None): `members_in_words` says
    'fewer than 5', and of the day there is the year.
    """

    name: str
    label: str
    returns: int
    last_on: date | None
    last_year: int | None
    members: int | None
    members_in_words: str


def part_of(name: str, label: str, tally: Tally) -> Part:
    """A part as it may be shown."""
    shown = tally.members >= LEAST_ANGLERS
    return Part(
        name=name,
        label=label,
        returns=tally.returns,
        last_on=tally.last_on if shown else None,
        last_year=None if tally.last_on is None else tally.last_on.year,
        members=tally.members if shown else None,
        members_in_words=f"{tally.members}" if shown else ("nobody" if tally.returns == 0 else FEWER),
    )


def how_much_we_know(*, near: Tally, in_month: int, upper_over_lower: float, latest: date) -> str:
    """The word for it, by `KNOWLEDGE_RULE`; `latest` is the day of the latest return of all."""
    for word, least_near, least_in_month, widest, years, members in _RULE:
        if (
            near.returns >= least_near
            and near.members >= members
            and near.last_on is not None
            and _within(near.last_on, latest, years)
            and in_month >= least_in_month
            and upper_over_lower <= widest
        ):
            return word
    return A_LITTLE


def worth_trying(*, known: str, chance_beats_first: float | None, upper_g: float, first_g: float) -> str:
    """Why a choice is worth trying, by `WORTH_TRYING_RULE`, or empty.

    `chance_beats_first` is None for the first itself, whose expected weight is `first_g`; `upper_g` is the
    upper end of the choice's own 90 % interval.
    """
    if chance_beats_first is None or known != A_LITTLE:
        return ""
    if chance_beats_first < WORTH_A_CHANCE or upper_g <= first_g:
        return ""
    return (
        f"Little is known of it, but it has {chance_beats_first:.0%} chance to do better than the first, and "
        f"may bring up to {format_pounds_ounces(round(upper_g))} on average: worth trying and a return."
    )


def _within(last: date, latest: date, years: int) -> bool:
    """Whether no more than so many years lie between the days."""
    return (last.year + years, last.month, last.day) >= (latest.year, latest.month, latest.day)
