"""Returns as shown, and the parameters that narrow their list."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.pagination import PageQuery
from api.permissions import member_of
from api.serializers.matches import day_span
from api.serializers.shapes import (
    CautionSerializer,
    GramsField,
    MemberSerializer,
    NamedSerializer,
    OutputSerializer,
    PoundsOuncesField,
)
from clubdata.models import DoubtState, Outcome, Return, SessionKind, Source
from clubdata.rules.sky import MoonPhase
from clubdata.rules.units import Weighing, WeighingUnit, format_as_weighed
from clubdata.services.doubts import open_doubts
from clubdata.services.members import number_of
from clubdata.services.returns import cautions_of, sees_in_full, sky_of


class PegLabelSerializer(OutputSerializer):
    """A peg by its public id and its label."""

    uid = serializers.UUIDField()
    label = serializers.CharField()  # type: ignore[assignment]


class MatchCodeSerializer(OutputSerializer):
    """A match by its public id and its code."""

    uid = serializers.UUIDField()
    code = serializers.CharField()


class WeightSerializer(OutputSerializer):
    """A total to the gram, as the scales showed it, and as it was typed. Null where it is not known."""

    grams = GramsField(source="weight_g")
    pounds_ounces = PoundsOuncesField(source="weight_g")
    as_weighed = serializers.SerializerMethodField()
    as_typed = serializers.CharField(source="weight_typed", allow_blank=True)
    unit = serializers.CharField(source="weight_unit", allow_blank=True)
    step = serializers.FloatField(source="weight_step", allow_null=True)

    def get_as_weighed(self, session: Return) -> str:
        if session.weight_g is None or session.weight_step is None:
            return ""
        step = session.weight_step.normalize()
        return format_as_weighed(Weighing(session.weight_g, WeighingUnit(session.weight_unit), step))


class PartSerializer(OutputSerializer):
    """One spell of the session."""

    method = NamedSerializer(allow_null=True)
    hook_bait = NamedSerializer(allow_null=True)
    feed = NamedSerializer(allow_null=True)
    rig_type = NamedSerializer(allow_null=True)
    distance_m = serializers.FloatField(allow_null=True)
    depth_cm = serializers.IntegerField(allow_null=True)
    hours = serializers.FloatField(allow_null=True)
    weight_g = GramsField(allow_null=True)
    main_line_mm = serializers.FloatField(allow_null=True)
    hooklength_mm = serializers.FloatField(allow_null=True)
    hooklength_cm = serializers.IntegerField(allow_null=True)
    hook_size = serializers.IntegerField(allow_null=True)
    float_g = serializers.FloatField(allow_null=True)


class CatchLineSerializer(OutputSerializer):
    """The catch of one species."""

    species = NamedSerializer()
    fish_count = serializers.IntegerField(allow_null=True)
    weight_g = GramsField(allow_null=True)
    biggest_g = GramsField(allow_null=True)
    biggest_length_cm = serializers.FloatField(allow_null=True)
    lost_count = serializers.IntegerField()


class ConditionsSerializer(OutputSerializer):
    """The day as found: degrees Celsius, Beaufort, degrees the wind comes from, oktas, hPa, mm, cm."""

    air_temperature_c = serializers.FloatField(allow_null=True)
    water_temperature_c = serializers.FloatField(allow_null=True)
    wind_force = serializers.IntegerField(allow_null=True)
    wind_from_degrees = serializers.IntegerField(allow_null=True)
    cloud_oktas = serializers.IntegerField(allow_null=True)
    pressure_hpa = serializers.FloatField(allow_null=True)
    rain_mm = serializers.FloatField(allow_null=True)
    tow = serializers.CharField(allow_blank=True)
    clarity_cm = serializers.IntegerField(allow_null=True)
    level_cm = serializers.IntegerField(allow_null=True)
    filled = serializers.ListField(
        child=serializers.CharField(), help_text="What nobody typed: a weather provider's figures."
    )
    filled_from = serializers.CharField(allow_blank=True, help_text="Whose figures those are.")


class SkySerializer(OutputSerializer):
    """Sun and Moon of the day at the water, computed; times in UTC, null in polar day and night."""

    sunrise = serializers.DateTimeField(allow_null=True)
    sunset = serializers.DateTimeField(allow_null=True)
    day_length_hours = serializers.FloatField()
    moon_phase = serializers.ChoiceField(choices=[phase.value for phase in MoonPhase])
    moon_illuminated_fraction = serializers.FloatField()
    moon_age_days = serializers.FloatField()


class QuestionSerializer(OutputSerializer):
    """A figure to check: the rule that asks, the field, a sentence, and its figures with their units."""

    uid = serializers.UUIDField()
    code = serializers.CharField()
    field = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField()
    facts = serializers.DictField(child=serializers.JSONField())
    state = serializers.ChoiceField(choices=DoubtState.choices)
    version = serializers.IntegerField()
    raised_at = serializers.DateTimeField()


class ReturnSerializer(OutputSerializer):
    """A return. `notes` and `entered_by` are null where they are not the reader's to see."""

    uid = serializers.UUIDField()
    member = MemberSerializer()
    water = NamedSerializer()
    peg = PegLabelSerializer(allow_null=True)
    match = MatchCodeSerializer(allow_null=True)
    session_kind = serializers.ChoiceField(choices=SessionKind.choices)
    fished_on = serializers.DateField()
    started_at = serializers.TimeField(allow_null=True)
    hours = serializers.FloatField(allow_null=True)
    rods = serializers.IntegerField()
    roved = serializers.BooleanField()
    guest = serializers.BooleanField()
    outcome = serializers.ChoiceField(choices=Outcome.choices)
    weight = serializers.SerializerMethodField()
    fish_count = serializers.IntegerField(allow_null=True)
    parts = PartSerializer(many=True)
    catch = CatchLineSerializer(many=True, source="catch_lines")
    conditions = serializers.SerializerMethodField()
    source = serializers.ChoiceField(choices=Source.choices)  # type: ignore[assignment]
    entered_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()
    notes = serializers.SerializerMethodField()
    entered_by = serializers.SerializerMethodField()

    @extend_schema_field(WeightSerializer(allow_null=True))
    def get_weight(self, session: Return) -> Any:
        return None if session.weight_g is None else WeightSerializer.shape().to_representation(session)

    @extend_schema_field(ConditionsSerializer(allow_null=True))
    def get_conditions(self, session: Return) -> Any:
        conditions = getattr(session, "conditions", None)
        return None if conditions is None else ConditionsSerializer.shape().to_representation(conditions)

    def get_notes(self, session: Return) -> str | None:
        return session.notes if self._in_full(session) else None

    def get_entered_by(self, session: Return) -> str | None:
        if not self._in_full(session):
            return None
        who = member_of(self.context["request"])
        if session.entered_by_id == who.account.pk:
            return who.member.number
        return number_of(session.entered_by, session.club_id)

    def _in_full(self, session: Return) -> bool:
        return sees_in_full(member_of(self.context["request"]), session)


class ReturnDetailSerializer(ReturnSerializer):
    """A return with the Sun and Moon of its day, and the cautions that its peg's hazards call for.

    `doubts` are the figures to check, for who reads the return in full; none of them refuses it.
    """

    sky = serializers.SerializerMethodField()
    cautions = serializers.SerializerMethodField()
    doubts = serializers.SerializerMethodField()

    @extend_schema_field(SkySerializer)
    def get_sky(self, session: Return) -> Any:
        return SkySerializer.shape().to_representation(sky_of(session))

    @extend_schema_field(CautionSerializer(many=True))
    def get_cautions(self, session: Return) -> Any:
        return CautionSerializer.shown(cautions_of(session))

    @extend_schema_field(QuestionSerializer(many=True))
    def get_doubts(self, session: Return) -> Any:
        return QuestionSerializer.shown(open_doubts(session) if self._in_full(session) else [])


class ReturnQuery(PageQuery):
    """By place, day, kind and outcome; both days belong to the span."""

    water = serializers.UUIDField(required=False, help_text="A water's uid.")
    peg = serializers.CharField(required=False, max_length=40, help_text="A label, or a peg's uid.")
    match = serializers.CharField(required=False, max_length=40, help_text="A match's code.")
    session_kind = serializers.ChoiceField(choices=SessionKind.choices, required=False)
    outcome = serializers.ChoiceField(choices=Outcome.choices, required=False)
    mine = serializers.BooleanField(required=False, default=False, help_text="Your own returns only.")

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]
        return {**super().get_fields(), **day_span()}
