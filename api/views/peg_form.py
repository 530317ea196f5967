"""Peg form along a bank, two pegs compared, and how even a draw is."""

from collections.abc import Mapping
from typing import Any

from analytics.answers.evenness import Evenness, EvennessQuestion, evenness
from analytics.answers.peg_form import PegForm, PegFormQuestion, peg_form
from analytics.answers.peg_pair import PegPair, peg_pair
from api.forms.sheets import Sheet
from api.serializers.advice import hinting_at_separator
from api.serializers.peg_form import (
    EvennessQuery,
    EvennessSerializer,
    PegFormQuery,
    PegFormSerializer,
    PegPairQuery,
    PegPairSerializer,
)
from api.views.answers import AnswerView, described
from api.views.peg_form_tables import (
    draw_chances,
    evenness_sheets,
    form_along_the_bank,
    pair_sheets,
    peg_form_sheets,
)
from clubdata.services.members import SEES_FEW


@described("peg_form_read")
class PegFormView(AnswerView):
    """Each peg against the water's typical peg, with ranks, the raw rate and why the two differ.

    Pegs out of use or under a standing hazard are left out. Figures of fewer than five anglers are for the
    organiser, the analyst and the secretary.
    """

    query = {"GET": PegFormQuery}
    serializer = PegFormSerializer
    noun = "peg-form"
    charts = {"bank": form_along_the_bank}

    def build(self, parameters: Mapping[str, Any]) -> PegForm:
        return peg_form(
            club=self.who.club,
            question=PegFormQuestion(water=self.kwargs["uid"], **parameters),
            today=self.today,
            sees_all=self.who.may(SEES_FEW),
        )

    def sheets(self, answer: PegForm) -> tuple[Sheet, ...]:
        return peg_form_sheets(answer)


@described("peg_form_pair_read")
class PegPairView(AnswerView):
    """The chance that one peg is better than another, and by how much.

    The same angler, day and tackle are meant on both.
    """

    query = {"GET": PegPairQuery}
    serializer = PegPairSerializer
    noun = "peg-pair"

    def build(self, parameters: Mapping[str, Any]) -> PegPair:
        return peg_pair(
            club=self.who.club,
            water=self.kwargs["uid"],
            today=self.today,
            sees_all=self.who.may(SEES_FEW),
            **parameters,
        )

    def sheets(self, answer: PegPair) -> tuple[Sheet, ...]:
        return pair_sheets(answer)


@described("evenness_read")
class EvennessView(AnswerView):
    """What drawing each peg is worth to equally able anglers, by simulated matches.

    For the organiser, the analyst and the secretary; other members may ask it of a match whose result is
    out.
    """

    query = {"GET": EvennessQuery}
    serializer = EvennessSerializer
    noun = "evenness"
    charts = {"wins": draw_chances}

    def build(self, parameters: Mapping[str, Any]) -> Evenness:
        question = EvennessQuestion(water=self.kwargs["uid"], **parameters)
        with hinting_at_separator(parameters):
            return evenness(who=self.who, question=question, today=self.today)

    def sheets(self, answer: Evenness) -> tuple[Sheet, ...]:
        return evenness_sheets(answer)
