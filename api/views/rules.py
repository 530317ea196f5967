"""The club's book of trade rules: read by all, worded by those who keep it."""

from collections.abc import Mapping
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.answers.rule_evidence import EvidenceOfRules, evidence_of
from api.serializers.rules import (
    EvidenceOfRulesSerializer,
    RuleListSerializer,
    RuleSerializer,
    RulesQuery,
)
from api.views.answers import AnswerView, described
from api.views.base import ClubView
from clubdata.services.rule_book import (
    KEEPS_THE_RULES,
    as_in_the_standard,
    find_rule,
    leave_out,
    rules_of,
    word_rule,
)

NEED = (KEEPS_THE_RULES, "change the book of rules")


class RuleListView(ClubView):
    """The rules as they hold in the club."""

    query = {"GET": RulesQuery}

    @extend_schema(operation_id="rules_list", responses=RuleListSerializer)
    def get(self, _request: Request, **_: Any) -> Response:
        """In the book's order. Each is common practice unless it names a source."""
        topic = self.parameters.get("topic")
        rules = [rule for rule in rules_of(self.who.club) if topic in {None, rule.topic}]
        return Response(RuleListSerializer.shape().to_representation({"rules": rules}))


@described("rules_evidence")
class RuleEvidenceView(AnswerView):
    """Whether the club's own returns bear out the rules that they can speak to, with numbers."""

    serializer = EvidenceOfRulesSerializer
    noun = "rules"

    def build(self, parameters: Mapping[str, Any]) -> EvidenceOfRules:  # noqa: ARG002 - there are none
        return evidence_of(club=self.who.club)


class RuleView(ClubView):
    """One rule by its name."""

    roles = {"PUT": NEED, "DELETE": NEED}

    @extend_schema(operation_id="rules_read", responses=RuleSerializer)
    def get(self, _request: Request, name: str, **_: Any) -> Response:
        """As it holds in the club."""
        return self._shown(find_rule(self.who.club, name))

    @extend_schema(operation_id="rules_word", request=OpenApiTypes.OBJECT, responses=RuleSerializer)
    def put(self, request: Request, name: str, **_: Any) -> Response:
        """Put the club's own wording in its place, or add a rule of the club's own under a new name.

        An object with `topic`, `advice`, `reason`, and as wanted `when` (conditions with `fact`, `is`,
        `value` and, for 'not_between', `up_to`), `value`, `low`, `high`, `unit`, `size`, `minutes`,
        `dissent`, `source`, `sure`.
        """
        return self._shown(word_rule(who=self.who, name=name, record=request.data, now=self.now))

    @extend_schema(operation_id="rules_leave_out", responses={204: None})
    def delete(self, _request: Request, name: str, **_: Any) -> Response:
        """It speaks in the club no more."""
        leave_out(who=self.who, name=name, now=self.now)
        return Response(status=status.HTTP_204_NO_CONTENT)

    def _shown(self, rule: Any) -> Response:
        return Response(RuleSerializer.shape().to_representation(rule))


class StandardRuleView(ClubView):
    """Back to the standard's wording of a rule."""

    roles = {"POST": NEED}

    @extend_schema(operation_id="rules_as_in_the_standard", request=None, responses=RuleSerializer)
    def post(self, _request: Request, name: str, **_: Any) -> Response:
        """What the club wrote of it, or that it left it out, is gone."""
        rule = as_in_the_standard(who=self.who, name=name)
        return Response(RuleSerializer.shape().to_representation(rule))
