"""The requests that the demo shows: one for each thing that one of the three people comes for."""

import json
import uuid
from collections.abc import Iterator, Sequence
from urllib.parse import quote

from analytics.answers.freshness import fit_status
from api.management.people import Person
from api.management.screen import Example
from clubdata.models import Club, Match, Peg, PegHazard, Water

HOURS = 5


def advice_path(club: Club, *, month: int) -> str:
    """Advice for the middle peg of the club's first water, in `month`."""
    return _advice(*_middle_peg(club), month=month)


def examples_of(club: Club, people: Sequence[Person]) -> list[Example]:
    """What to paste, in the order in which a stranger would wonder."""
    member, organiser, analyst = people
    base = f"/api/v1/clubs/{club.slug}"
    advice = advice_path(club, month=3)
    return [
        Example("What to fish from a peg in March", member, advice),
        Example("The same as a chart", member, f"{advice}&format=svg&width=phone", save_as="advice.svg"),
        *_plan(club, member),
        *_hazards(club, member),
        Example("Hand in a return", member, f"{base}/returns/", _return_body(club)),
        *_of_the_bank(club, organiser),
        Example("Catch rates year against year, standardised beside raw", analyst, f"{base}/trends/?by=year"),
        *_of_the_fit(club, analyst),
    ]


def _plan(club: Club, member: Person) -> Iterator[Example]:
    """The sheet for the middle peg of the first water."""
    water, peg = _middle_peg(club)
    path = f"/api/v1/clubs/{club.slug}/waters/{water.uid}/plan/page/?peg={quote(peg.label)}&month=3"
    yield Example("What to tie there, where to fish it and how to feed it", member, path, save_as="plan.html")


def _middle_peg(club: Club) -> tuple[Water, Peg]:
    water = _first_water(club)
    pegs = list(Peg.objects.filter(water=water, in_use=True).order_by("bank", "bank_order"))
    return water, pegs[len(pegs) // 2]


def _hazards(club: Club, member: Person) -> Iterator[Example]:
    """Advice that is kept back, where the club has such a peg."""
    standing = PegHazard.objects.filter(club=club, cleared_on__isnull=True).order_by("peg__bank_order")
    for hazard in standing[:1]:
        path = _advice(hazard.peg.water, hazard.peg, month=3)
        yield Example(f"A peg with a hazard: {hazard.kind}", member, path)


def _of_the_bank(club: Club, organiser: Person) -> Iterator[Example]:
    """The pegs of the first water, and a match there."""
    water = _first_water(club)
    path = f"/api/v1/clubs/{club.slug}/waters/{water.uid}"
    yield Example("How each peg stands", organiser, f"{path}/peg-form/?sort=rank")
    yield Example(
        "The same along the bank", organiser, f"{path}/peg-form/?format=svg", save_as="peg-form.svg"
    )
    for match in Match.objects.filter(water=water).order_by("-held_on", "-pk")[:1]:
        even = f"{path}/evenness/?match={quote(match.code)}"
        yield Example("How even the last match's draw was", organiser, even)
        sheet = f"/api/v1/clubs/{club.slug}/returns/?match={quote(match.code)}"
        yield Example("The returns of that match", organiser, sheet)


def _of_the_fit(club: Club, analyst: Person) -> Iterator[Example]:
    """The page of the fit that serves."""
    fit = fit_status(club=club).fit
    if fit is not None:
        path = f"/api/v1/clubs/{club.slug}/fits/{fit.uid}/report/"
        yield Example("The fit in words and charts, for a report", analyst, path, save_as="fit.html")


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
