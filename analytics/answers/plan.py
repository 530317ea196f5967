"""The plan for a peg and a date: the club's evidence, the trade's rules and the peg's record in one sheet."""

from dataclasses import dataclass, field, replace
from datetime import date

from analytics.answers.advice import Advice, advise
from analytics.answers.choices import Choice
from analytics.answers.knowledge import A_LITTLE
from analytics.answers.nothing import NoAdvice
from analytics.answers.places import find_place
from analytics.answers.question import AdviceQuestion, Checked, check_question
from clubdata.errors import InvalidInput
from clubdata.models import Club, HookBait, Peg, PegDepth, Water
from clubdata.rules.conventions import read_conventions
from clubdata.rules.season import close_season_applies
from clubdata.rules.session_plan import Plan, next_steps, plan_session
from clubdata.rules.situation import Ground, Kit, Situation, Tip
from clubdata.rules.trade import Facts, TradeRule
from clubdata.rules.water_rules import is_among, read_water_rules
from clubdata.services.rule_book import book_of

#: Codes of no advice that bar a plan too: the rest say only that the returns know too little.
_BARRING = frozenset({"standing_hazard", "peg_out_of_use"})
_POLE = "pole"


@dataclass(frozen=True, slots=True)
class PlanQuestion:
    """What is planned: the question of advice with a peg, and what the angler has and has seen."""

    ask: AdviceQuestion
    kit: Kit = field(default_factory=Kit)
    clarity_cm: int | None = None
    small_fish: bool | None = None
    fish_confident: bool | None = None


@dataclass(frozen=True, slots=True)
class SessionPlan:
    """The plan, or why there is none; `advice` is what the returns say, with its cautions and hazards."""

    headline: str
    advice: Advice
    plan: Plan | None
    no_plan: NoAdvice | None


def plan_for(*, club: Club, question: PlanQuestion, today: date) -> SessionPlan:
    """A plan for a peg in a month or on a day.

    A peg with a hazard that bars advice gets none, pole or rod, but the hazard, whom to tell and other pegs.

    :raises NotFound: no such water.
    :raises InvalidInput: as advice does, and for no peg; `field` names it.
    """
    ask = question.ask
    if not ask.peg:
        raise InvalidInput("A plan is for a peg: name it.", field="peg", code="required")
    ask = replace(ask, longest_pole_m=question.kit.longest_pole_m, baits=question.kit.hook_baits)
    advice = advise(club=club, question=ask, today=today)
    place = find_place(club=club, water=ask.water, peg=ask.peg, today=today)
    when = f"peg {ask.peg} of {place.water.name}"
    assert place.asked is not None  # noqa: S101 - a peg was asked about
    no_plan = _barred(advice, place.water)
    if no_plan is not None:
        return SessionPlan(f"No plan for {when}: {no_plan.reason}", advice, None, no_plan)
    checked = check_question(club=club, question=ask)
    ground = _ground(club, place.asked.peg, question, checked, advice)
    plan = plan_session(book=book_of(club), ground=ground)
    return SessionPlan(_headline(when, plan), advice, plan, None)


def steps_for(*, club: Club, question: PlanQuestion, seen: Facts, today: date) -> tuple[TradeRule, ...]:
    """What to do next at a peg, given what has happened so far; nothing where a plan is barred.

    :raises InvalidInput: as `plan_for` does.
    """
    ask = question.ask
    place = find_place(club=club, water=ask.water, peg=ask.peg, today=today)
    if _barred(advise(club=club, question=ask, today=today), place.water) is not None:
        return ()
    when, day = check_question(club=club, question=ask)
    situation = Situation(
        water_kind=place.water.kind,
        month=when.month,
        wind_force=day.wind_force,
        tow=day.tow,
        water_temperature_c=day.water_temperature_c,
    )
    return next_steps(book=book_of(club), facts={**situation.facts(), **seen})


def _barred(advice: Advice, water: Water) -> NoAdvice | None:
    if advice.no_advice is not None and advice.no_advice.code in _BARRING:
        return advice.no_advice
    if advice.on is not None and close_season_applies(water.kind, advice.on):
        reason = "rivers in England and Wales are closed to coarse fishing on that day; local byelaws first."
        return NoAdvice("close_season", reason)
    if is_among(_POLE, read_water_rules(water.rules).methods_not_allowed):
        return NoAdvice("pole_not_allowed", "the water's rules do not allow a pole.")
    return None


def _ground(club: Club, peg: Peg, question: PlanQuestion, checked: Checked, advice: Advice) -> Ground:
    (when, day), water = checked, peg.water
    depths = PegDepth.objects.filter(peg=peg).order_by("distance_m").values_list("distance_m", "depth_cm")
    names = HookBait.objects.filter(club=club).order_by("name").values_list("name", flat=True)
    return Ground(
        situation=Situation(
            water_kind=water.kind,
            month=when.month,
            wind_force=day.wind_force,
            tow=day.tow,
            water_temperature_c=day.water_temperature_c,
            clarity_cm=question.clarity_cm,
            target=question.ask.target,
            small_fish=question.small_fish,
            fish_confident=question.fish_confident,
            peg_depth_cm=peg.depth_cm,
            depths=tuple((float(metres), float(depth_cm)) for metres, depth_cm in depths),
        ),
        kit=question.kit,
        rules=read_water_rules(water.rules),
        tips=tuple(map(_tip, advice.choices)),
        hook_baits=tuple(names),
        float_loads_g=read_conventions(club.conventions).float_loads_g,
    )


def _tip(choice: Choice) -> Tip:
    known = choice.how_much_we_know
    return Tip(
        hook_bait=choice.hook_bait.name,
        distance_m=choice.distance_m,
        how_much_we_know=f"the club knows {known}",
        words=f"{choice.words}, {choice.expected_lb_oz} expected",
        is_firm=known != A_LITTLE,
        rig_type="" if choice.rig_type is None else choice.rig_type.name,
    )


def _headline(where: str, plan: Plan) -> str:
    lines = " and ".join(f"{line.distance_m:g} m" for line in plan.lines)
    bait = "" if plan.first_bait is None else f", starting on {plan.first_bait.value}"
    return f"Plan for {where}: {lines or 'no line within your reach'}{bait}."
