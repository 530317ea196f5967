"""The parts, the catch and the conditions of a hand-in, looked up and checked: columns of their rows."""

from dataclasses import asdict
from decimal import Decimal
from typing import Any

from clubdata.models import Outcome
from clubdata.models.returns import MOST_DISTANCE_M, MOST_HOURS, Tow
from clubdata.services.faults import Faults
from clubdata.services.hand_ins import CatchInput, HandIn, PartInput
from clubdata.services.lexicon import Lexicon, known_lexicon
from clubdata.services.members import Membership
from clubdata.services.said_weights import read_weight

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
# What can be tied: line in millimetres, hooklength in centimetres, hooks as numbered (common practice, no
# source), float in grams.
TACKLE_BOUNDS = {
    "main_line_mm": (Decimal("0.05"), Decimal("0.6")),
    "hooklength_mm": (Decimal("0.04"), Decimal("0.6")),
    "hooklength_cm": (1, 200),
    "hook_size": (1, 30),
    "float_g": (Decimal("0.01"), Decimal(100)),
}
LONGEST_FISH_CM = 300


def parts(who: Membership, data: HandIn, faults: Faults) -> list[dict[str, Any]]:
    """Columns of each part, in order."""
    used = {name for name in PART_WORDS if any(getattr(part, name) for part in data.parts)}
    lexicons = {name: known_lexicon(club=who.club, kind=PART_WORDS[name]) for name in sorted(used)}
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
    for name, (least, most) in TACKLE_BOUNDS.items():
        value = getattr(part, name)
        if value is not None and not least <= value <= most:
            faults.add(f"{path}.{name}", "out_of_range", f"From {least} to {most}.")
    return {
        **columns,
        "distance_m": part.distance_m,
        "depth_cm": part.depth_cm,
        "hours": part.hours,
        "weight_g": _grams(part.weight, f"{path}.weight", faults),
        **{name: getattr(part, name) for name in TACKLE_BOUNDS},
    }


def catch(who: Membership, data: HandIn, faults: Faults) -> list[dict[str, Any]]:
    """Columns of each catch line; a species once."""
    if not data.catch:
        return []
    species = known_lexicon(club=who.club, kind="species")
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
    if line.biggest_length_cm is not None and not 0 < line.biggest_length_cm <= LONGEST_FISH_CM:
        faults.add(f"{path}.biggest_length_cm", "out_of_range", f"More than 0 and at most {LONGEST_FISH_CM}.")
    return {
        **columns,
        "fish_count": line.fish_count,
        "weight_g": weight_g,
        "biggest_g": biggest_g,
        "biggest_length_cm": line.biggest_length_cm,
        "lost_count": line.lost_count,
    }


def _grams(text: str, field_name: str, faults: Faults) -> int | None:
    if text:
        with faults.at(field_name):
            return read_weight(text).weight_g
    return None


def conditions(data: HandIn, faults: Faults) -> dict[str, Any] | None:
    """Columns of the day, or None where nothing is told of it."""
    if data.conditions is None:
        return None
    found = asdict(data.conditions)
    for name, (least, most) in CONDITION_BOUNDS.items():
        if found[name] is not None and not least <= found[name] <= most:
            faults.add(f"conditions.{name}", "out_of_range", f"From {least} to {most}.")
    if found["tow"] not in {"", *Tow.values}:
        faults.add("conditions.tow", "unknown", f"One of {', '.join(Tow.values)}.")
    return found


def check_sums(session: dict[str, Any], children: dict[str, list[dict[str, Any]]], faults: Faults) -> None:
    """Parts and species cannot outweigh a weighed total; each was rounded to a gram of its own."""
    if session["outcome"] != Outcome.WEIGHED:
        return
    for name, rows in children.items():
        weights = [row["weight_g"] for row in rows if row["weight_g"] is not None]
        if sum(weights) > session["weight_g"] + len(weights):
            faults.add(name, "more_than_total", "Together these weigh more than the total.")
