"""A hand-in turned into the rows that it will become: everything looked up, everything checked."""

import uuid
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet

from clubdata.errors import InvalidInput
from clubdata.models import Match, Member, Outcome, Peg, SessionKind, Source, Water
from clubdata.models.returns import MOST_DISTANCE_M, MOST_HOURS, WITH_WEIGHT, Tow
from clubdata.rules.units import Weighing, parse_weight
from clubdata.services.faults import Faults
from clubdata.services.hand_ins import CatchInput, HandIn, PartInput
from clubdata.services.lexicon import Lexicon, read_lexicon
from clubdata.services.members import ENTERS_FOR_OTHERS, Membership
from clubdata.services.waters import local_date

EARLIEST = date(1900, 1, 1)
CONDITION_BOUNDS = {
    "air_temperature_c": (-40, 50),
    "water_temperature_c": (-2, 40),
    "wind_force": (0, 12),
    "wind_from_degrees": (0, 359),
    "cloud_oktas": (0, 8),
    "pressure_hpa": (850, 1100),
    "rain_mm": (0, 500),
    "clarity_cm": (0, 2_000),
    "level_cm": (-2_000, 2_000),
}
# The field of a part, and the kind of word that it takes.
PART_WORDS = {"method": "method", "hook_bait": "hook bait", "feed": "feed", "rig_type": "rig type"}
# What only landed fish have: the column of a part or of a catch line, and its field.
LANDED = {"fish_count": "fish_count", "weight_g": "weight", "biggest_g": "biggest"}


@dataclass(frozen=True, slots=True)
class Draft:
    """Column values of a return and of its children, all of one club."""

    session: dict[str, Any]
    parts: list[dict[str, Any]] = field(default_factory=list)
    catch: list[dict[str, Any]] = field(default_factory=list)
    conditions: dict[str, Any] | None = None


def draft(*, who: Membership, now: datetime, data: HandIn) -> Draft:
    """Look up and check a hand-in. Raises `ManyInvalid` with every fault found."""
    faults = Faults()
    place = _place(who, data, faults)
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
        "outcome": data.outcome,
        "fish_count": data.fish_count,
        "notes": data.notes,
        "source": Source.MEMORY if data.from_memory else Source.FORM,
        **_total(data, faults),
    }
    _check_hours(data, faults)
    made = Draft(
        session=session,
        parts=_parts(who, data, faults),
        catch=_catch(who, data, faults),
        conditions=_conditions(data, faults),
    )
    _check_fish(data, made, faults)
    faults.check()
    _check_sums(made, faults)
    faults.check()
    return made


# --- Who, where, in which match -----------------------------------------------------------------------


def _place(who: Membership, data: HandIn, faults: Faults) -> dict[str, Any]:
    found: dict[str, Any] = {"member": who.member, "water": None, "peg": None, "match": None}
    with faults.at("member"):
        found["member"] = _member(who, data.member)
    with faults.at("water"):
        waters = Water.objects.filter(club=who.club).select_related("club")
        found["water"] = _named(waters, "name", data.water, "a water of the club")
    if found["water"] is None:
        return found
    if data.peg:
        with faults.at("peg"):
            pegs = Peg.objects.filter(club=who.club, water=found["water"])
            found["peg"] = _named(pegs, "label", data.peg, f"a peg of {found['water'].name}")
    elif data.outcome != Outcome.DID_NOT_FISH:
        faults.add("peg", "required", "Say which peg was fished.")
    if data.match:
        with faults.at("match"):
            found["match"] = _match(who, data, found["water"])
    return found


def _member(who: Membership, wanted: str) -> Member:
    if wanted in {"", str(who.member.uid), who.member.number}:
        return who.member
    if not who.may(ENTERS_FOR_OTHERS):
        # The same answer whether or not the club has such a member.
        raise InvalidInput("You may hand in your own returns only.", code="not_your_own")
    found: Member = _named(Member.objects.filter(club=who.club), "number", wanted, "a member of the club")
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
        raise InvalidInput(f"'{text[:60]}' is not {what}.", code="unknown")
    return found


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
    weighing = parse_weight(text)
    if weighing.weight_g == 0:
        raise InvalidInput("No weight at all is a blank: give that as the outcome.", code="zero_weight")
    return weighing


def _label(outcome: str) -> str:
    return f"'{Outcome(outcome).label}'"


def _check_fish(data: HandIn, made: Draft, faults: Faults) -> None:
    """A blank may have lost fish, but landed none; who did not fish has neither parts nor a catch."""
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


# --- Parts, catch, conditions -------------------------------------------------------------------------


def _parts(who: Membership, data: HandIn, faults: Faults) -> list[dict[str, Any]]:
    used = {name for name in PART_WORDS if any(getattr(part, name) for part in data.parts)}
    lexicons = {name: read_lexicon(club=who.club, kind=PART_WORDS[name]) for name in sorted(used)}
    return [
        {"part_order": index + 1, **_part(part, f"parts.{index}", lexicons, data, faults)}
        for index, part in enumerate(data.parts)
    ]


def _part(
    part: PartInput, path: str, lexicons: dict[str, Lexicon], data: HandIn, faults: Faults
) -> dict[str, Any]:
    columns: dict[str, Any] = {f"{name}_id": None for name in PART_WORDS}
    for name, lexicon in lexicons.items():
        if word := getattr(part, name):
            with faults.at(f"{path}.{name}"):
                columns[f"{name}_id"] = lexicon.find(word)
    if part.distance_m is not None and not 0 <= part.distance_m <= MOST_DISTANCE_M:
        faults.add(f"{path}.distance_m", "out_of_range", f"From 0 to {MOST_DISTANCE_M} metres.")
    longest = Decimal(MOST_HOURS)
    if data.hours is not None and 0 < data.hours < longest:
        longest = data.hours
    if part.hours is not None and not 0 < part.hours <= longest:
        faults.add(f"{path}.hours", "out_of_range", "More than 0 and at most the session's hours.")
    return {
        **columns,
        "distance_m": part.distance_m,
        "depth_cm": part.depth_cm,
        "hours": part.hours,
        "weight_g": _grams(part.weight, f"{path}.weight", faults),
    }


def _catch(who: Membership, data: HandIn, faults: Faults) -> list[dict[str, Any]]:
    if not data.catch:
        return []
    species = read_lexicon(club=who.club, kind="species")
    lines = [_catch_line(line, f"catch.{index}", species, faults) for index, line in enumerate(data.catch)]
    known = [line["species_id"] for line in lines if line["species_id"]]
    if len(known) != len(set(known)):
        faults.add("catch", "species_twice", "One line for each species.")
    return lines


def _catch_line(line: CatchInput, path: str, species: Lexicon, faults: Faults) -> dict[str, Any]:
    columns: dict[str, Any] = {"species_id": None}
    with faults.at(f"{path}.species"):
        columns["species_id"] = species.find(line.species)
    weight_g = _grams(line.weight, f"{path}.weight", faults)
    biggest_g = _grams(line.biggest, f"{path}.biggest", faults)
    if weight_g is not None and biggest_g is not None and biggest_g > weight_g:
        faults.add(f"{path}.biggest", "bigger_than_all", "The biggest fish weighs no more than all of them.")
    return {
        **columns,
        "fish_count": line.fish_count,
        "weight_g": weight_g,
        "biggest_g": biggest_g,
        "lost_count": line.lost_count,
    }


def _grams(text: str, field_name: str, faults: Faults) -> int | None:
    if text:
        with faults.at(field_name):
            return parse_weight(text).weight_g
    return None


def _conditions(data: HandIn, faults: Faults) -> dict[str, Any] | None:
    if data.conditions is None:
        return None
    found = asdict(data.conditions)
    for name, (least, most) in CONDITION_BOUNDS.items():
        if found[name] is not None and not least <= found[name] <= most:
            faults.add(f"conditions.{name}", "out_of_range", f"From {least} to {most}.")
    if found["tow"] not in {"", *Tow.values}:
        faults.add("conditions.tow", "unknown", f"One of {', '.join(Tow.values)}.")
    return found


def _check_sums(made: Draft, faults: Faults) -> None:
    """Parts and species cannot outweigh a weighed total; each was rounded to a gram of its own."""
    if made.session["outcome"] != Outcome.WEIGHED:
        return
    for name, rows in (("parts", made.parts), ("catch", made.catch)):
        weights = [row["weight_g"] for row in rows if row["weight_g"] is not None]
        if sum(weights) > made.session["weight_g"] + len(weights):
            faults.add(name, "more_than_total", "Together these weigh more than the total.")
