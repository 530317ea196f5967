"""What is known of a club's waters and pegs: neighbours along the bank, and what is dangerous there today."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q, QuerySet

from clubdata.errors import NotFound
from clubdata.models import Club, Peg, PegDepth, PegHazard, Water
from clubdata.rules.cautions import Caution, cautions_for
from clubdata.services.members import Membership

# Of the cautions that hold for a peg, those that its own noted hazards call for.
OF_HAZARDS = frozenset({"overhead_power_line", "steep_or_deep", "noted_hazard"})


def zone_of(water: Water) -> str:
    """The water's time zone, else its club's."""
    return water.time_zone or water.club.time_zone


def local_date(water: Water, now: datetime) -> date:
    """Today's date at the water."""
    return now.astimezone(ZoneInfo(zone_of(water))).date()


def date_at_water(club: Club, water_uid: uuid.UUID | None, *, now: datetime) -> date:
    """Today's date at a water of the club, without reading it once more; the club's for another id."""
    zone = club.time_zone if water_uid is None else _known_zone(club.uid, club.places_revision, water_uid)
    return now.astimezone(ZoneInfo(zone or club.time_zone)).date()


@lru_cache(maxsize=1000)
def _known_zone(club_uid: uuid.UUID, places_revision: int, water_uid: uuid.UUID) -> str:  # noqa: ARG001
    """The water's own zone, empty where it has none; what is known ends with the places' revision."""
    zones = Water.objects.filter(club__uid=club_uid, uid=water_uid).values_list("time_zone", flat=True)
    return zones.first() or ""


def standing_hazards(on: date) -> QuerySet[PegHazard]:
    """Hazards noted by a day and not cleared by it."""
    standing = Q(noted_on__lte=on) & (Q(cleared_on__isnull=True) | Q(cleared_on__gt=on))
    return PegHazard.objects.filter(standing).order_by("noted_on", "kind")


def visible_waters(who: Membership) -> QuerySet[Water]:
    """The club's waters with their club."""
    return Water.objects.visible_to(who.account).filter(club=who.club).select_related("club")


def find_water(who: Membership, uid: uuid.UUID) -> Water:
    """One water of the club. Raises `NotFound`."""
    water = visible_waters(who).filter(uid=uid).first()
    if water is None:
        raise NotFound("There is no such water.")
    return water


def describe_water(who: Membership, uid: uuid.UUID, *, now: datetime) -> dict[str, Any]:
    """A water with its `events`, the newest first, and the `hazards` that stand at its pegs today."""
    water = find_water(who, uid)
    hazards = standing_hazards(local_date(water, now)).filter(club=who.club, peg__water=water)
    return {
        "water": water,
        "events": water.events.order_by("-started_on", "-id"),
        "hazards": hazards.select_related("peg").order_by("peg__bank", "peg__bank_order", "noted_on"),
    }


def pegs_along_the_bank(water: Water, *, today: date) -> list[Peg]:
    """All pegs of a water in bank order, each with its `lines` (depths) and its `standing` hazards."""
    return list(
        Peg.objects.filter(club_id=water.club_id, water=water)
        .order_by("bank", "bank_order")
        .prefetch_related(
            Prefetch("depths", PegDepth.objects.order_by("distance_m"), to_attr="lines"),
            Prefetch("hazards", standing_hazards(today), to_attr="standing"),
        )
    )


def pegs_in_use(club: Club) -> dict[uuid.UUID, list[str]]:
    """The labels of the pegs in use along the banks of each of the club's waters."""
    waters = Water.objects.filter(club=club).order_by("pk").values_list("uid", flat=True)
    found: dict[uuid.UUID, list[str]] = {uid: [] for uid in waters}
    pegs = Peg.objects.filter(club=club, in_use=True).order_by("bank", "bank_order")
    for water, label in pegs.values_list("water__uid", "label"):
        found[water].append(label)
    return found


def neighbours_of(pegs: Sequence[Peg]) -> dict[int, list[str]]:
    """The labels beside each peg of a water's pegs in bank order, by its key; banks do not join."""
    return {
        peg.pk: [
            beside.label
            for beside in (*pegs[max(index - 1, 0) : index], *pegs[index + 1 : index + 2])
            if beside.bank == peg.bank
        ]
        for index, peg in enumerate(pegs)
    }


def hazard_cautions(*, water: Water, hazards: Iterable[str], on: date) -> list[Caution]:
    """The cautions that the hazards noted at a peg call for, the gravest first."""
    found = cautions_for(
        water_kind=water.kind,
        on=on,
        month=None,
        water_temperature_c=None,
        wind_force=None,
        hazards=list(hazards),
        longest_pole_m=None,
    )
    return [caution for caution in found if caution.code in OF_HAZARDS]
