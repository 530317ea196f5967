"""A question of the tests' own: each water's pegs, with numbers that a fit could have left."""

from collections.abc import Mapping
from typing import Any

from django.urls import path
from rest_framework import serializers

from api.forms.charts.bank_intervals import BankIntervals, BankPeg
from api.forms.charts.base import Chart, Spread
from api.forms.sheets import Column, Kind, Sheet, sheet_of
from api.query import QuerySerializer
from api.serializers.shapes import OutputSerializer
from api.urls import urlpatterns as real
from api.views.answers import AnswerView, described
from clubdata.models import Role
from clubdata.services.waters import find_water, pegs_along_the_bank

BUILT: list[str] = []
"""One entry an answer that was worked out instead of taken from what is kept."""


class ExampleQuery(QuerySerializer):
    times = serializers.FloatField(required=False, default=1.0)


class RowSerializer(OutputSerializer):
    peg = serializers.CharField()
    rate_g_per_hour = serializers.FloatField(allow_null=True)
    returns = serializers.IntegerField()
    hazard = serializers.BooleanField()


class ExampleSerializer(OutputSerializer):
    water = serializers.CharField()
    asked_by = serializers.CharField()
    pegs = RowSerializer(many=True)
    notes = serializers.ListField(child=serializers.CharField())


COLUMNS = (
    Column("peg", "Peg", description="As painted."),
    Column("rate_g_per_hour", "Rate", "g/h", "Expected.", kind=Kind.NUMBER),
    Column("returns", "Returns", "returns"),
    Column("hazard", "Under a hazard"),
)


@described("example_read")
class ExampleView(AnswerView):
    """An example. It is only of the tests."""

    query = {"GET": ExampleQuery}
    serializer = ExampleSerializer
    noun = "example"
    charts = {}

    def build(self, parameters: Mapping[str, Any]) -> Any:
        BUILT.append(self.who.member.number)
        water = find_water(self.who, self.kwargs["uid"])
        pegs = pegs_along_the_bank(water, today=self.today)
        rows = [
            {
                "peg": peg.label,
                "rate_g_per_hour": None if peg.standing else parameters["times"] * (123.4 + place / 7),
                "returns": 10 + place,
                "hazard": bool(peg.standing),
            }
            for place, peg in enumerate(pegs)
        ]
        asked_by = self.who.member.number if self.personal else ""
        return {"water": water.name, "asked_by": asked_by, "pegs": rows, "notes": ["=1+1 is no formula"]}

    def sheets(self, answer: Any) -> tuple[Sheet, ...]:
        total = ({"water": answer["water"], "pegs": len(answer["pegs"])},)
        totals = (Column("water", "Water"), Column("pegs", "Pegs", "pegs"))
        return sheet_of("pegs", COLUMNS, answer["pegs"]), sheet_of("totals", totals, total)


def along_the_bank(answer: Any) -> Chart | None:
    pegs = tuple(
        BankPeg(
            label=row["peg"],
            bank="",
            spread=None if row["hazard"] else Spread(1.0, 0.9, 1.1, 0.8, 1.3),
            returns=row["returns"],
            left_out="standing hazard" if row["hazard"] else "",
        )
        for row in answer["pegs"]
    )
    return BankIntervals(title="Pegs along the bank", returns=sum(peg.returns for peg in pegs), pegs=pegs)


def nothing(_answer: Any) -> Chart | None:
    return None


class DrawnView(ExampleView):
    charts = {"bank": along_the_bank, "nothing": nothing}


class PersonalView(ExampleView):
    personal = True


class OfficersView(ExampleView):
    roles = {"GET": (frozenset({Role.ORGANISER}), "see the example")}


_OF_A_WATER = "api/v1/clubs/<slug:slug>/waters/<uuid:uid>"
urlpatterns = [
    path(f"{_OF_A_WATER}/example/", ExampleView.as_view()),
    path(f"{_OF_A_WATER}/drawn/", DrawnView.as_view()),
    path(f"{_OF_A_WATER}/personal/", PersonalView.as_view()),
    path(f"{_OF_A_WATER}/officers/", OfficersView.as_view()),
    *real,
]
handler404 = "api.errors.not_found"
handler500 = "api.errors.server_error"
