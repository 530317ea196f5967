"""The session plan: as JSON, as a page that prints on one sheet, its rigs drawn, and what to do next."""

import uuid
from dataclasses import dataclass
from typing import Any, ClassVar

from django.http import HttpResponse
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.answers.plan import PlanQuestion, SessionPlan, plan_for, steps_for
from analytics.answers.question import AdviceQuestion
from api.forms.rig_drawing import STYLE, draw_rig
from api.pages import page_policy
from api.serializers.advice import hinting_at_separator
from api.serializers.plan import (
    NextStepsSerializer,
    PlanQuery,
    RigCheckSerializer,
    RigInputSerializer,
    RigQuery,
    SeenQuery,
    SessionPlanSerializer,
)
from api.views.base import ClubView
from clubdata.errors import NotFound
from clubdata.rules.plan_items import Item
from clubdata.rules.rig_check import Tied, check_rig
from clubdata.rules.rigs import Rig, Shot
from clubdata.rules.session_plan import PlannedLine
from clubdata.rules.situation import Kit
from clubdata.services.waters import date_at_water

_KIT = {
    "longest_pole_m": "longest_pole_m",
    "baits": "hook_baits",
    "feeds": "feeds",
    "floats": "floats",
    "main_lines_mm": "main_lines_mm",
    "hooklengths_mm": "hooklengths_mm",
    "hook_sizes": "hook_sizes",
}
_ASKED = ("month", "on", "peg", "hours", "water_temperature_c", "wind_force", "tow", "target")
_TIED = ("main_line_mm", "hooklength_mm", "hook_size", "hook_bait", "elastic", "biggest_expected_g")
_SEEN = (
    *("hook_bait", "minutes_without_sign", "fish_expected", "small_fish", "perch_over_feed"),
    *("bubbles", "missed_bites", "tow_rising", "float_does_not_settle"),
)


class _PlanView(ClubView):
    def perform_content_negotiation(self, _request: Request, force: bool = False) -> tuple[Any, str]:  # noqa: ARG002
        """Each address has one form; problems are JSON at all of them."""
        return JSONRenderer(), JSONRenderer.media_type

    def _question(self) -> PlanQuestion:
        given = self.parameters
        kit = Kit(**{name: given[said] for said, name in _KIT.items() if said in given})
        ask = AdviceQuestion(
            water=str(self.kwargs["uid"]), **{name: given[name] for name in _ASKED if name in given}
        )
        seen = {
            name: given.get(name) for name in ("clarity_cm", "small_fish", "fish_confident") if name in given
        }
        return PlanQuestion(ask=ask, kit=kit, **seen)

    def _plan(self) -> SessionPlan:
        today = date_at_water(self.who.club, self.kwargs["uid"], now=self.now)
        with hinting_at_separator(self.parameters):
            return plan_for(club=self.who.club, question=self._question(), today=today)


class PlanView(_PlanView):
    """What to tie, where to fish it, how to feed it, and what to change when."""

    query = {"GET": PlanQuery}

    @extend_schema(operation_id="plan_read", responses=SessionPlanSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:  # noqa: ARG002
        """For a peg, in a month or on a day, within your kit and the water's rules. Each line says why."""
        return Response(SessionPlanSerializer.shape().to_representation(self._plan()))


class RigDrawingView(_PlanView):
    """The rig of one of a plan's lines."""

    query = {"GET": RigQuery}

    @extend_schema(operation_id="plan_rig_drawing", responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> HttpResponse:  # noqa: ARG002
        """Drawn to scale."""
        found = self._plan()
        lines = () if found.plan is None else found.plan.lines
        drawing = next((_drawn(one, found) for one in lines if one.place == self.parameters["place"]), "")
        if not drawing:
            raise NotFound("This plan has no such rig.")
        return HttpResponse(drawing, content_type="image/svg+xml")


class PlanPageView(_PlanView):
    """The plan on one sheet of paper."""

    query = {"GET": PlanQuery}

    @extend_schema(operation_id="plan_page", responses={(200, "text/html"): OpenApiTypes.STR})
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> HttpResponse:  # noqa: ARG002
        """An HTML document that needs nothing from outside."""
        found = self._plan()
        style = render_to_string("api/plan_page.css")
        lines = () if found.plan is None else found.plan.lines
        # The drawing escapes whatever it is given.
        drawn = [(line, mark_safe(_drawn(line, found))) for line in lines]  # noqa: S308
        content = {
            "club": self.who.club.name,
            "found": found,
            "drawn": drawn,
            "rows": _rows([line.items for line in lines]),
            "style": style,
            "printed_at": self.now,
        }
        response = HttpResponse(render_to_string("api/plan_page.html", content))
        response["Content-Security-Policy"] = page_policy(style, STYLE)
        response["Cache-Control"] = "private, no-cache"
        return response


class NextStepsView(_PlanView):
    """The changing plan."""

    query = {"GET": SeenQuery}

    @extend_schema(operation_id="plan_next", responses=NextStepsSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """What to do next and why, given what has happened so far at a peg."""
        seen = {name: self.parameters[name] for name in _SEEN if self.parameters.get(name) is not None}
        today = date_at_water(self.who.club, uid, now=self.now)
        steps = steps_for(club=self.who.club, question=self._question(), seen=seen, today=today)
        return Response(NextStepsSerializer.shape().to_representation({"steps": steps}))


class RigCheckView(ClubView):
    """A check of any rig as tied."""

    keeps_replies: ClassVar[bool] = False

    @extend_schema(operation_id="rigs_check", request=RigInputSerializer, responses=RigCheckSerializer)
    def post(self, request: Request, **_: Any) -> Response:
        """What the shot weigh beside the float's load, how the rig settles, and what to look at."""
        serializer = RigInputSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        given = dict(serializer.validated_data)
        tied = Tied(**{name: value for name in _TIED if (value := given.pop(name, None)) is not None})
        shot = tuple(Shot(**one) for one in given.pop("shot"))
        rig = Rig(shot=shot, trimming=tuple(given.pop("trimming")), **given)
        checked = check_rig(rig, tied)
        drawing = draw_rig(rig, title="Rig as tied")
        return Response(RigCheckSerializer.shape().to_representation({**checked, "drawing": drawing}))


@dataclass(frozen=True, slots=True)
class Row:
    """One thing to tie: the same on every line, or line by line."""

    same: Item | None
    each: tuple[tuple[int, Item], ...] = ()


def _rows(lines: list[tuple[Item, ...]]) -> list[Row]:
    topics = dict.fromkeys(item.topic for items in lines for item in items)
    rows = []
    for topic in topics:
        each = [(place, item) for place, items in enumerate(lines) for item in items if item.topic == topic]
        is_same = len(each) == len(lines) and len({item.says for _, item in each}) == 1
        rows.append(Row(each[0][1]) if is_same else Row(None, tuple(each)))
    return rows


def _drawn(line: PlannedLine, found: SessionPlan) -> str:
    """The line's rig as SVG; empty where it has none."""
    first = None if found.plan is None else found.plan.first_bait
    bait = "" if first is None else str(first.value)
    return "" if line.rig is None else draw_rig(line.rig, title=f"Rig for {line.distance_m:g} m", bait=bait)
