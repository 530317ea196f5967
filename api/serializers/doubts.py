"""Doubts as the queue shows them, and what taking one would change."""

from rest_framework import serializers

from api.pagination import PageQuery
from api.permissions import member_of
from api.preconditions import etag_of
from api.serializers.returns import MatchCodeSerializer, PegLabelSerializer, QuestionSerializer
from api.serializers.shapes import NamedSerializer, OutputSerializer
from clubdata.models import Doubt, DoubtState, Return, SessionKind
from clubdata.services.members import number_of


class DoubtQuery(PageQuery):
    """By what has come of them."""

    state = serializers.ChoiceField(choices=DoubtState.choices, required=False)


class DoubtedReturnSerializer(OutputSerializer):
    """The return whose figure it is. `etag` is what an amendment sends as If-Match."""

    uid = serializers.UUIDField()
    water = NamedSerializer()
    peg = PegLabelSerializer(allow_null=True)
    match = MatchCodeSerializer(allow_null=True)
    session_kind = serializers.ChoiceField(choices=SessionKind.choices)
    fished_on = serializers.DateField()
    version = serializers.IntegerField()
    etag = serializers.SerializerMethodField()

    def get_etag(self, session: Return) -> str:
        # Who looks at doubts reads their returns in full.
        return etag_of(session.version, member_of(self.context["request"]).club.places_revision, "full")


class DoubtSerializer(QuestionSerializer):
    """A figure to look at: `field` is the hand-in's, `version` is of the return that was asked about."""

    session = DoubtedReturnSerializer()
    settled_by = serializers.SerializerMethodField()
    settled_at = serializers.DateTimeField(allow_null=True)
    settled_reason = serializers.CharField(allow_blank=True)

    def get_settled_by(self, doubt: Doubt) -> str | None:
        return number_of(doubt.settled_by, doubt.club_id)


class MoveSerializer(OutputSerializer):
    """A factor on the expected weight without the return, and with it as it stands."""

    of = serializers.ChoiceField(choices=("peg", "bait", "month", "water"))
    name = serializers.CharField()
    before = serializers.FloatField()
    after = serializers.FloatField()


class NoEffectSerializer(OutputSerializer):
    """Why nothing can be said."""

    code = serializers.CharField()
    reason = serializers.CharField()


class EffectSerializer(OutputSerializer):
    """What the fit's multipliers become when the figure is taken as it stands, to first order."""

    run = serializers.UUIDField(allow_null=True)
    expected_g = serializers.FloatField(allow_null=True, help_text="Of this session, without the return.")
    weight_g = serializers.IntegerField(allow_null=True)
    leverage = serializers.FloatField(allow_null=True)
    moves = MoveSerializer(many=True)
    no_answer = NoEffectSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
