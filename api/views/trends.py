"""Trends of a club and of a water, and water against water."""

from collections.abc import Mapping
from typing import Any

from analytics.answers.trends import TrendQuestion, Trends, trends
from analytics.answers.water_trends import WaterTrends, water_trends
from api.forms.sheets import Sheet
from api.serializers.trends import TrendQuery, TrendsSerializer, WaterTrendQuery, WaterTrendsSerializer
from api.views.answers import AnswerView, described
from api.views.trend_charts import trend_chart, water_chart
from api.views.trend_tables import trend_sheets, water_sheets
from clubdata.services.members import SEES_FEW


@described("trends_read")
class ClubTrendsView(AnswerView):
    """A trend of the club: standardised catch rates on a stated reference beside raw figures.

    By month, year, year and month, bait through the season, distance through the season or water
    temperature; and, raw alone, species and effort. A catch rate is not stock size. Figures of fewer than
    five anglers are for the organiser, the analyst and the secretary.
    """

    query = {"GET": TrendQuery}
    serializer = TrendsSerializer
    noun = "trends"
    charts = {"trend": trend_chart}

    def build(self, parameters: Mapping[str, Any]) -> Trends:
        question = TrendQuestion(water=self.kwargs.get("uid"), **parameters)
        return trends(club=self.who.club, question=question, sees_all=self.who.may(SEES_FEW))

    def sheets(self, answer: Trends) -> tuple[Sheet, ...]:
        return trend_sheets(answer)


@described("water_trends_read")
class WaterTrendsView(ClubTrendsView):
    """A trend of one water: standardised catch rates on a stated reference beside raw figures.

    What happened at the water, as the club wrote it down, is marked. A catch rate is not stock size. Figures
    of fewer than five anglers are for the organiser, the analyst and the secretary.
    """


@described("trends_waters_read")
class WatersView(AnswerView):
    """The club's waters against one another: standardised catch rates, and the chance that one is the higher.

    A catch rate is not stock size, and a water of easy fish is not a water of more fish.
    """

    query = {"GET": WaterTrendQuery}
    serializer = WaterTrendsSerializer
    noun = "waters-compared"
    charts = {"waters": water_chart}

    def build(self, parameters: Mapping[str, Any]) -> WaterTrends:
        return water_trends(club=self.who.club, sees_all=self.who.may(SEES_FEW), **parameters)

    def sheets(self, answer: WaterTrends) -> tuple[Sheet, ...]:
        return water_sheets(answer)
