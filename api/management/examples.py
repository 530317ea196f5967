"""The requests that the demo shows: one for each thing that one of the three people comes for."""

import json
import uuid
from collections.abc import Sequence

from api.management.people import Person
from api.management.screen import Example
from clubdata.models import Club, Peg, PegHazard, Water

HOURS = 5


def advice_path(club: Club, *, month: int) -> str:
    """Advice for the middle peg of the club's first water, in `month`."""
    water = _first_water(club)
    pegs = list(Peg.objects.filter(water=water, in_use=True).order_by("bank", "bank_order"))
    return _advice(water, pegs[len(pegs) // 2], month=month)


def examples_of(club: Club, people: Sequence[Person]) -> list[Example]:
    """What to paste, in the order in which a stranger would wonder."""
    member, organiser, analyst = people
    base = f"/api/v1/clubs/{club.slug}"
    shown = [Example("What to fish from a peg in March", member, advice_path(club, month=3))]
    hazard = PegHazard.objects.filter(club=club, cleared_on__isnull=True).order_by("peg__bank_order").first()
    if hazard is not None:
        path = _advice(hazard.peg.water, hazard.peg, month=3)
        shown.append(Example(f"A peg with a hazard: {hazard.kind}", member, path))
    return [
        *shown,
        Example("Hand in a return", member, f"{base}/returns/", _return_body(club)),
        Example("The club's matches", organiser, f"{base}/matches/"),
        Example("Catch rates year against year, standardised beside raw", analyst, f"{base}/trends/?by=year"),
        Example("The fits of the club's returns, and what they left out", analyst, f"{base}/fits/"),
    ]


def _advice(water: Water, peg: Peg, *, month: int) -> str:
    club = water.club.slug
    return f"/api/v1/clubs/{club}/waters/{water.uid}/advice/?peg={peg.label}&month={month}&hours={HOURS}"


def _first_water(club: Club) -> Water:
    water: Water = Water.objects.filter(club=club).select_related("club").order_by("id")[0]
    return water


def _return_body(club: Club) -> str:
    water = _first_water(club)
    part = {"hook_bait": "casters", "rig_type": "spread", "distance_m": 11}
    # With an id of one's own the same request may be sent twice and is kept once.
    body = {
        "uid": str(uuid.uuid4()),
        "water": water.name,
        "peg": "14",
        "fished_on": "2024-06-16",
        "hours": HOURS,
        "outcome": "weighed",
        "weight": "12lb 8oz",
        "parts": [part],
    }
    return json.dumps(body)
