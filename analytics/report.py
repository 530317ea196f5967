"""What the check and the diagnosis of a fit found, as JSON values that name no person."""

import math
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from typing import Any

from analytics.catchrate.check import Check, Diagnosis, Influence, Wall
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.validation import Validation
from analytics.frames import ClubFrame

#: Terms whose levels are people.
OF_PEOPLE = ("angler",)


def report_of(
    check: Check, diagnosis: Diagnosis, validation: Validation | Refusal, club_frame: ClubFrame
) -> dict[str, Any]:
    """`check`, `diagnosis` and `validation` as their dataclasses have them; None stands for a number that is
    not finite.

    An influential return is named by its public id instead of its place in the frame; an angler's level is
    left empty.
    """
    whole = {
        "check": asdict(check),
        "diagnosis": {
            **asdict(diagnosis),
            "influential": [_influence(item, club_frame) for item in diagnosis.influential],
            "walls": [_wall(item) for item in diagnosis.walls],
        },
        "validation": asdict(validation),
    }
    plain: dict[str, Any] = _plain(whole)
    return plain


def _influence(item: Influence, club_frame: ClubFrame) -> dict[str, Any]:
    values = asdict(item)
    session = int(club_frame.frame["session"].iloc[values.pop("position")])
    return {"uid": str(club_frame.uid(session)), **values}


def _wall(item: Wall) -> dict[str, Any]:
    return asdict(item) | ({"level": ""} if item.term in OF_PEOPLE else {})


def _plain(value: Any) -> Any:
    """JSON values all the way down: a check may find what has no number."""
    match value:
        case Mapping():
            return {str(name): _plain(item) for name, item in value.items()}
        case list() | tuple():
            return [_plain(item) for item in value]
        case float():
            return float(value) if math.isfinite(value) else None
        case date():
            return value.isoformat()
        case _:
            return value
