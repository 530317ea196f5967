"""What a member hands in, and its shape: nothing here is looked up or decided."""

import uuid
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal

from clubdata.models import SessionKind


@dataclass(frozen=True, slots=True)
class PartInput:
    """One spell on one bait, line and rig. Words as the member writes them, or uids; weight as typed."""

    method: str = ""
    hook_bait: str = ""
    feed: str = ""
    rig_type: str = ""
    distance_m: Decimal | None = None
    depth_cm: int | None = None
    hours: Decimal | None = None
    weight: str = ""
    main_line_mm: Decimal | None = None
    hooklength_mm: Decimal | None = None
    hooklength_cm: int | None = None
    hook_size: int | None = None
    float_g: Decimal | None = None


@dataclass(frozen=True, slots=True)
class CatchInput:
    """The catch of one species; weights as typed."""

    species: str
    fish_count: int | None = None
    weight: str = ""
    biggest: str = ""
    biggest_length_cm: Decimal | None = None
    lost_count: int = 0


@dataclass(frozen=True, slots=True)
class ConditionsInput:
    """The day as the angler found it, in the units that the names say."""

    air_temperature_c: Decimal | None = None
    water_temperature_c: Decimal | None = None
    wind_force: int | None = None
    wind_from_degrees: int | None = None
    cloud_oktas: int | None = None
    pressure_hpa: Decimal | None = None
    rain_mm: Decimal | None = None
    tow: str = ""
    clarity_cm: int | None = None
    level_cm: int | None = None


@dataclass(frozen=True, slots=True)
class HandIn:
    """A return as handed in.

    `water`, `peg`, `match` and `member` are a uid or the name, label, code or number; no member is the
    actor. `weight` is as typed and stands only with the outcomes that have one; without an `outcome` it
    says what came of the day: a weight that was weighed, or the club's word for a blank and the like.
    Who `roved` may leave the peg out; a `guest` is somebody unnamed whom the member brought. A client that
    sends its own `uid` may send the same return again after a lost signal and gets the stored one back.
    """

    water: str
    fished_on: date
    outcome: str = ""
    session_kind: str = SessionKind.PLEASURE
    peg: str = ""
    member: str = ""
    match: str = ""
    started_at: time | None = None
    hours: Decimal | None = None
    rods: int = 1
    roved: bool = False
    guest: bool = False
    weight: str = ""
    fish_count: int | None = None
    notes: str = ""
    from_memory: bool = False
    parts: tuple[PartInput, ...] = ()
    catch: tuple[CatchInput, ...] = ()
    conditions: ConditionsInput | None = None
    uid: uuid.UUID | None = None
