"""A weight as a member says it, when nobody was asked for an outcome: a weight, a blank, a guess."""

from dataclasses import replace

from clubdata.errors import InvalidInput
from clubdata.models import Club, Outcome
from clubdata.rules.conventions import Conventions, read_conventions
from clubdata.rules.units import Weighing, WeightNotUnderstood, parse_weight
from clubdata.rules.words import fold
from clubdata.services.hand_ins import HandIn


def read_weight(text: str) -> Weighing:
    """A weight as written. Raises `InvalidInput` with a sentence of what would have been one."""
    try:
        return parse_weight(text)
    except WeightNotUnderstood as refusal:
        said = refusal.message
        raise InvalidInput(f"{said[:1].upper()}{said[1:]}.", code=refusal.code) from None


def with_outcome(data: HandIn, club: Club) -> HandIn:
    """The hand-in with the outcome that its weight says; as it is where it has one, or says nothing.

    The club's own words hold, as in its sheets: 'blank', 'dnw', 'abt 7lb'.
    """
    if data.outcome or not data.weight.strip():
        return data
    said = fold(data.weight)
    conventions = read_conventions(club.conventions)
    if said in conventions.blank_words:
        return replace(data, outcome=Outcome.BLANK, weight="")
    if said in conventions.did_not_weigh_words:
        return replace(data, outcome=Outcome.DID_NOT_WEIGH, weight="")
    guess = without_mark(said, conventions)
    if guess is not None:
        return replace(data, outcome=Outcome.ESTIMATED, weight=guess)
    return replace(data, outcome=Outcome.WEIGHED)


def without_mark(folded: str, conventions: Conventions) -> str | None:
    """The weight inside 'abt 7lb' or '9lb est', or None where nothing marks it as an estimate."""
    for mark in conventions.estimate_marks:
        if folded.startswith(mark) and not folded[len(mark) :][:1].isalpha():
            return folded[len(mark) :].strip()
        if folded.endswith(f" {mark}"):
            return folded[: -len(mark)].strip()
    return None
