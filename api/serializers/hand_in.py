"""A return on its way in: shapes only; what may be true is for the service to say."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import Any

from rest_framework import serializers

from api.serializers.shapes import StrictSerializer
from clubdata.errors import InvalidInput
from clubdata.models import Outcome, SessionKind
from clubdata.models.returns import Tow
from clubdata.services.faults import ManyInvalid, VersionMoved
from clubdata.services.hand_ins import CatchInput, ConditionsInput, HandIn, PartInput

MOST_COUNTED = 100_000
MOST_DEPTH_CM = 10_000


def _word(most: int = 60, **options: Any) -> serializers.CharField:
    return serializers.CharField(max_length=most, required=False, default="", allow_blank=True, **options)


def _weight(**options: Any) -> serializers.CharField:
    return _word(40, help_text="As typed: 12-7-8, 12lb 8oz, 2.82 kg, 850 g.", **options)


def _number(digits: int, places: int, **options: Any) -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=digits, decimal_places=places, required=False, default=None, allow_null=True, **options
    )


def _count(most: int, **options: Any) -> serializers.IntegerField:
    options = {"default": None, "allow_null": True, "min_value": 0, **options}
    return serializers.IntegerField(max_value=most, required=False, **options)


class PartInputSerializer(StrictSerializer):
    """A spell of the session on one bait, line and rig; words in any spelling of the club's, or uids."""

    method = _word()
    hook_bait = _word()
    feed = _word()
    rig_type = _word()
    distance_m = _number(5, 2)
    depth_cm = _count(MOST_DEPTH_CM)
    hours = _number(5, 2)
    weight = _weight()
    main_line_mm = _number(4, 3)
    hooklength_mm = _number(4, 3)
    hooklength_cm = _count(200)
    hook_size = _count(30)
    float_g = _number(5, 2)


class CatchInputSerializer(StrictSerializer):
    """The catch of one species; lost fish apart."""

    species = serializers.CharField(max_length=60)
    fish_count = _count(MOST_COUNTED)
    weight = _weight()
    biggest = _weight()
    biggest_length_cm = _number(4, 1)
    lost_count = _count(MOST_COUNTED, default=0, allow_null=False)


class ConditionsInputSerializer(StrictSerializer):
    """The day as found: degrees Celsius, Beaufort, degrees the wind comes from, oktas, hPa, mm, cm."""

    air_temperature_c = _number(4, 1)
    water_temperature_c = _number(4, 1)
    wind_force = _count(12)
    wind_from_degrees = _count(359)
    cloud_oktas = _count(8)
    pressure_hpa = _number(5, 1)
    rain_mm = _number(5, 1)
    tow = serializers.ChoiceField(choices=Tow.choices, required=False, default="", allow_blank=True)
    clarity_cm = _count(2_000)
    level_cm = _count(2_000, min_value=-2_000)


SHORT_FORM = ("method", "hook_bait", "feed", "rig_type", "distance_m")


class HandInSerializer(StrictSerializer):
    """A return as handed in: water, date, hours, peg, hook bait, distance, and a weight or a blank will do.

    The bait and the rest stand here when the session had one part, else in `parts`. Without an `outcome`
    the weight says it. Send a `uid` of your own to be able to send it again after a lost signal.
    """

    uid = serializers.UUIDField(required=False, allow_null=True, default=None)
    water = serializers.CharField(max_length=80, help_text="Name or uid.")
    peg = _word(40, help_text="As painted, or uid. Needed unless you did not fish.")
    member = _word(40, help_text="Number or uid; yourself unless given.")
    match = _word(40, help_text="Code or uid.")
    session_kind = serializers.ChoiceField(choices=SessionKind.choices, default=SessionKind.PLEASURE)
    fished_on = serializers.DateField(help_text="Local date, ISO 8601.")
    started_at = serializers.TimeField(required=False, allow_null=True, default=None)
    hours = _number(5, 2)
    rods = serializers.IntegerField(required=False, default=1, min_value=1, max_value=4)
    roved = serializers.BooleanField(required=False, default=False, help_text="Then no peg is needed.")
    guest = serializers.BooleanField(required=False, default=False, help_text="It was your guest who fished.")
    outcome = serializers.ChoiceField(
        choices=Outcome.choices,
        required=False,
        default="",
        allow_blank=True,
        help_text="Unless given, what the weight says: weighed, or the club's word for a blank.",
    )
    weight = _weight()
    method = _word()
    hook_bait = _word()
    feed = _word()
    rig_type = _word()
    distance_m = _number(5, 2)
    fish_count = _count(MOST_COUNTED)
    notes = _word(1000)
    from_memory = serializers.BooleanField(required=False, default=False)
    parts = PartInputSerializer(many=True, required=False, default=list, max_length=20)  # type: ignore[call-arg]
    catch = CatchInputSerializer(many=True, required=False, default=list, max_length=50)  # type: ignore[call-arg]
    conditions = ConditionsInputSerializer(required=False, allow_null=True, default=None)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Of the session as a whole, or of its parts: not both."""
        short = [name for name in SHORT_FORM if attrs.get(name) not in {"", None}]
        if short and attrs.get("parts"):
            said = "Say it in the parts, since there are some."
            raise serializers.ValidationError(dict.fromkeys(short, said), code="said_twice")
        return attrs

    @classmethod
    def read(cls, data: Any) -> HandIn:
        """Input as the service takes it. Raises `ValidationError` with every fault of its shape.

        Read by one of its kind for all requests: building its fields costs more than their use.
        """
        given: dict[str, Any] = dict(_shape().run_validation(data))
        conditions = given.pop("conditions")
        whole = {name: given.pop(name) for name in SHORT_FORM}
        parts = given.pop("parts") or ([whole] if any(v not in {"", None} for v in whole.values()) else [])
        return HandIn(
            parts=tuple(PartInput(**part) for part in parts),
            catch=tuple(CatchInput(**line) for line in given.pop("catch")),
            conditions=None if conditions is None else ConditionsInput(**conditions),
            **given,
        )


@contextmanager
def told_as_sent(data: Any) -> Iterator[None]:
    """Refuse by the names of the fields that were sent; see `as_sent`."""
    try:
        yield
    except (ManyInvalid, VersionMoved) as refusal:
        raise as_sent(refusal, data) from None


def as_sent(refusal: Exception, data: Mapping[str, Any]) -> Exception:
    """The same refusal; of the short form's own part by the short form's names."""
    if not isinstance(refusal, (ManyInvalid, VersionMoved)) or data.get("parts"):
        return refusal
    problems = tuple(
        InvalidInput(one.message, field=_short_name(one.field), code=one.code) for one in refusal.problems
    )
    return type(refusal)(problems)


def _short_name(field: str) -> str:
    name = field.removeprefix("parts.0.")
    return name if name in SHORT_FORM else field


@cache
def _shape() -> HandInSerializer:
    return HandInSerializer()
