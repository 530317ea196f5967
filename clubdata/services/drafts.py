"""A hand-in turned into the rows that it will become: everything looked up, everything checked."""

import difflib
import uuid
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet

from clubdata.errors import InvalidInput
from clubdata.models import Match, Member, Outcome, Peg, SessionKind, Source, Water
from clubdata.models.returns import MOST_HOURS, WITH_WEIGHT
from clubdata.rules.units import Weighing
from clubdata.rules.words import fold
from clubdata.services.draft_parts import catch, check_sums, conditions, parts
from clubdata.services.faults import Faults
from clubdata.services.grounds import Grounds, Named, known_grounds
from clubdata.services.hand_ins import HandIn
from clubdata.services.lexicon import NEAR_ENOUGH
from clubdata.services.members import ENTERS_FOR_OTHERS, Membership
from clubdata.services.said_weights import read_weight, with_outcome
from clubdata.services.waters import local_date

EARLIEST = date(1900, 1, 1)
# What only landed fish have: the column of a part or of a catch line, and its field.
LANDED = {"fish_count": "fish_count", "weight_g": "weight", "biggest_g": "biggest"}


@dataclass(frozen=True, slots=True)
class Draft:
    """Column values of a return and of its children, all of one club; `place` are the rows that it names."""

    session: dict[str, Any]
    place: dict[str, Any] = field(default_factory=dict)
    parts: list[dict[str, Any]] = field(default_factory=list)
    catch: list[dict[str, Any]] = field(default_factory=list)
    conditions: dict[str, Any] | None = None


def draft(*, who: Membership, now: datetime, data: HandIn, of: Member | None = None) -> Draft:
    """Look up and check a hand-in, or how a return `of` a member is to stand. Raises `ManyInvalid`."""
    faults = Faults()
    data = with_outcome(data, who.club)
    place = _place(who, data, of, faults)
    if place["water"] is None:
        faults.check()  # neither its pegs nor its local date can be checked
    _check_day(data, place["water"], now, faults)
    session = {
        **{f"{name}_id": None if found is None else found.pk for name, found in place.items()},
        "session_kind": data.session_kind,
        "fished_on": data.fished_on,
        "started_at": data.started_at,
        "hours": data.hours,
        "rods": data.rods,
        "roved": data.roved,
        "guest": data.guest,
        "outcome": data.outcome,
        "fish_count": data.fish_count,
        "notes": data.notes,
        "source": Source.MEMORY if data.from_memory else Source.FORM,
        **_total(data, faults),
    }
    _check_hours(data, faults)
    made = Draft(
        session=session,
        place=place,
        parts=parts(who, data, faults),
        catch=catch(who, data, faults),
        conditions=conditions(data, faults),
    )
    _check_fish(data, made, faults)
    faults.check()
    check_sums(made.session, {"parts": made.parts, "catch": made.catch}, faults)
    faults.check()
    return made


# --- Who, where, in which match -----------------------------------------------------------------------


def _place(who: Membership, data: HandIn, of: Member | None, faults: Faults) -> dict[str, Any]:
    found: dict[str, Any] = {"member": who.member, "water": None, "peg": None, "match": None}
    with faults.at("member"):
        found["member"] = _member(who, data.member, of)
    grounds = known_grounds(who.club)
    with faults.at("water"):
        found["water"] = _water(grounds.waters, data.water.strip())
    if found["water"] is None:
        return found
    if data.peg:
        with faults.at("peg"):
            found["peg"] = _peg(grounds, found["water"], data.peg.strip())
    elif data.outcome != Outcome.DID_NOT_FISH and not data.roved:
        faults.add("peg", "required", "Say which peg was fished, or that you roved.")
    if data.match:
        with faults.at("match"):
            found["match"] = _match(who, data, found["water"])
    return found


def _water(waters: Named[Water], text: str) -> Water:
    found = waters.find(text)
    if found is None:
        names = {fold(name): name for name in waters.words}
        near = difflib.get_close_matches(fold(text)[:60], names, n=1, cutoff=NEAR_ENOUGH)
        known = f"; the nearest is '{names[near[0]]}'" if near else f"; known are {', '.join(waters.words)}"
        raise _unknown(text, f"a water of the club{known}")
    return found


def _peg(grounds: Grounds, water: Water, text: str) -> Peg:
    found = grounds.pegs_of(water).find(text)
    if found is None:
        raise _unknown(text, f"a peg of {water.name}")
    return found


def _member(who: Membership, wanted: str, of: Member | None) -> Member:
    # Also of somebody who was erased since: the figures stay the club's to correct.
    if of is not None and wanted in {of.number, str(of.uid)}:
        return of
    if wanted in {"", str(who.member.uid), who.member.number}:
        return who.member
    if not who.may(ENTERS_FOR_OTHERS):
        # The same answer whether or not the club has such a member.
        raise InvalidInput("You may hand in your own returns only.", code="not_your_own")
    found: Member = _named(
        Member.objects.filter(club=who.club, erased_at__isnull=True), "number", wanted, "a member of the club"
    )
    return found


def _match(who: Membership, data: HandIn, water: Water) -> Match:
    if data.session_kind != SessionKind.MATCH:
        raise InvalidInput("A pleasure session belongs to no match.", code="pleasure_has_no_match")
    found: Match = _named(Match.objects.filter(club=who.club), "code", data.match, "a match of the club")
    if (found.water_id, found.held_on) != (water.pk, data.fished_on):
        raise InvalidInput(
            f"Match {found.code} was held on another day or water.", code="match_elsewhere_or_other_day"
        )
    return found


def _named(rows: QuerySet[Any], column: str, wanted: str, what: str) -> Any:
    """The row by uid, else by its own exact word, else by that word in any case."""
    text = wanted.strip()
    try:
        found = rows.filter(uid=uuid.UUID(text)).first()
    except ValueError:
        found = rows.filter(**{column: text}).first() or rows.filter(**{f"{column}__iexact": text}).first()
    if found is None:
        # Of members and matches nothing is given away, not even the nearest.
        raise _unknown(text, what)
    return found


def _unknown(text: str, what: str) -> InvalidInput:
    return InvalidInput(f"'{text[:60]}' is not {what}.", code="unknown")


# --- When, how long, how much -------------------------------------------------------------------------


def _check_day(data: HandIn, water: Water, now: datetime, faults: Faults) -> None:
    today = local_date(water, now)
    if data.fished_on > today:
        faults.add("fished_on", "date_in_future", f"The day has not come yet: today is {today}.")
    elif data.fished_on < EARLIEST:
        faults.add("fished_on", "date_too_early", f"A return is of {EARLIEST} or later.")


def _check_hours(data: HandIn, faults: Faults) -> None:
    if data.outcome == Outcome.DID_NOT_FISH:
        if data.hours is not None:
            faults.add("hours", "not_with_outcome", "Who did not fish has no hours.")
    elif data.hours is None:
        faults.add("hours", "required", "Say for how many hours you fished, such as 5 or 4.5.")
    elif not 0 < data.hours <= MOST_HOURS:
        faults.add("hours", "out_of_range", f"Hours are more than 0 and at most {MOST_HOURS}.")
    if not 1 <= data.rods <= 4:
        faults.add("rods", "out_of_range", "Between one and four rods.")


def _total(data: HandIn, faults: Faults) -> dict[str, Any]:
    columns: dict[str, Any] = {"weight_g": None, "weight_typed": "", "weight_unit": "", "weight_step": None}
    if not data.outcome:
        said = "Give the weight, such as 12-7-8, 12lb 8oz or 2.82 kg, or say that it was a blank."
        faults.add("weight", "required", said)
        return columns
    if data.outcome not in WITH_WEIGHT:
        if data.weight:
            faults.add("weight", "not_with_outcome", f"Leave the weight empty with {_label(data.outcome)}.")
        return {**columns, "weight_g": 0} if data.outcome == Outcome.BLANK else columns
    if not data.weight:
        faults.add("weight", "required", "Type the weight, such as 12-7-8, 12lb 8oz or 2.82 kg.")
        return columns
    with faults.at("weight"):
        weighing = _above_zero(data.weight)
        return {
            "weight_g": weighing.weight_g,
            "weight_typed": data.weight.strip(),
            "weight_unit": weighing.unit,
            "weight_step": weighing.step,
        }
    return columns


def _above_zero(text: str) -> Weighing:
    weighing = read_weight(text)
    if weighing.weight_g == 0:
        raise InvalidInput("No weight at all is a blank: give that as the outcome.", code="zero_weight")
    return weighing


def _label(outcome: str) -> str:
    return f"'{Outcome(outcome).label}'"


def _check_fish(data: HandIn, made: Draft, faults: Faults) -> None:
    """A blank may have lost fish, but landed none; who did not fish has neither parts nor a catch."""
    if not data.outcome:
        return
    landed_none = f"{_label(data.outcome)} goes with no fish landed."
    counted = data.fish_count or any(line.fish_count for line in data.catch)
    if data.outcome in {Outcome.BLANK, Outcome.DID_NOT_FISH} and data.fish_count:
        faults.add("fish_count", "not_with_outcome", landed_none)
    if data.outcome == Outcome.COUNTED_ONLY and not counted:
        faults.add("fish_count", "required", "Counted only: say how many.")
    for name, rows in (("parts", made.parts), ("catch", made.catch)):
        if data.outcome == Outcome.DID_NOT_FISH and rows:
            faults.add(name, "not_with_outcome", f"Leave '{name}' empty with {_label(data.outcome)}.")
        elif data.outcome == Outcome.BLANK:
            for path in _landed(name, rows):
                faults.add(path, "not_with_outcome", landed_none)


def _landed(name: str, rows: list[dict[str, Any]]) -> list[str]:
    """The fields of parts or catch lines that say of a fish that it was landed."""
    return [
        f"{name}.{index}.{LANDED[column]}"
        for index, row in enumerate(rows)
        for column in LANDED
        if row.get(column)
    ]
