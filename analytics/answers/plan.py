"""The plan for a peg and a date: the club's evidence, the trade's rules and the peg's record in one sheet."""

from dataclasses import dataclass, field, replace
from datetime import date

from analytics.answers.advice import Advice, advise
from analytics.answers.choices import Choice
from analytics.answers.knowledge import A_LITTLE
from analytics.answers.nothing import NoAdvice
from analytics.answers.places import Place, find_place
from analytics.answers.question import AdviceQuestion, Checked, check_question
from clubdata.errors import InvalidInput
from clubdata.models import Club, HookBait, Peg, PegDepth, Water
from clubdata.rules.conventions import read_conventions
from clubdata.rules.season import close_season_applies
from clubdata.rules.session_plan import Plan, next_steps, plan_session
from clubdata.rules.situation import Ground, Kit, Situation, Tip
from clubdata.rules.trade import Facts, TradeRule
from clubdata.rules.water_rules import is_among, read_water_rules
from clubdata.services.lexicon import known_lexicon
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
    found = _found(club, question, today)
    where = f"peg {question.ask.peg} of {found.place.water.name}"
    if found.no_plan is not None:
        return SessionPlan(f"No plan for {where}: {found.no_plan.reason}", found.advice, None, found.no_plan)
    plan = plan_session(book=book_of(club), ground=found.ground)
    return SessionPlan(_headline(where, plan), found.advice, plan, None)


def steps_for(*, club: Club, question: PlanQuestion, seen: Facts, today: date) -> tuple[TradeRule, ...]:
    """What to do next at a peg, given what has happened so far; nothing where a plan is barred.

    :raises NotFound: no such water.
    :raises InvalidInput: as `plan_for` does.
    """
    found = _found(club, question, today)
    if found.no_plan is not None:
        return ()
    return next_steps(book=book_of(club), ground=found.ground, seen=seen)


@dataclass(frozen=True, slots=True)
class _Found:
    """Where a question asks about, what the returns say there, and what a plan is made from."""

    place: Place
    advice: Advice
    no_plan: NoAdvice | None
    ground: Ground


def _found(club: Club, question: PlanQuestion, today: date) -> _Found:
    ask = question.ask
    if not ask.peg:
        raise InvalidInput("A plan is for a peg: name it.", field="peg", code="required")
    place = find_place(club=club, water=ask.water, peg=ask.peg, today=today)
    assert place.asked is not None  # noqa: S101 - a peg was asked about
    rules = read_water_rules(place.water.rules)
    names = _names_of_baits(club)
    kit = replace(question.kit, hook_baits=_in_the_club_s_words(club, names, question.kit.hook_baits))
    limited = kit.hook_baits is not None or rules.hook_baits_not_allowed
    bare = Ground(Situation(place.water.kind, 1), kit=kit, rules=rules, hook_baits=tuple(names.values()))
    # The returns are asked about what may be used alone: the rest is not to be told of.
    usable = tuple(name for name in names.values() if bare.may_hook(name)) if limited else None
    ask = replace(ask, longest_pole_m=kit.longest_pole_m, baits=usable)
    checked = check_question(club=club, question=ask)
    advice = advise(club=club, question=ask, today=today)
    return _Found(
        place=place,
        advice=advice,
        no_plan=_barred(advice, place.water),
        ground=replace(
            bare,
            situation=_situation(place.asked.peg, question, checked),
            tips=tuple(map(_tip, advice.choices)),
            float_loads_g=read_conventions(club.conventions).float_loads_g,
        ),
    )


def _names_of_baits(club: Club) -> dict[int, str]:
    return dict(HookBait.objects.filter(club=club).order_by("name").values_list("pk", "name"))


def _in_the_club_s_words(
    club: Club, names: dict[int, str], words: tuple[str, ...] | None
) -> tuple[str, ...] | None:
    """Baits by the club's own names, however the angler spells them."""
    if words is None:
        return None
    lexicon = known_lexicon(club=club, kind="hook bait")
    try:
        return tuple(names[lexicon.find(word)] for word in words)
    except InvalidInput as unknown:
        raise InvalidInput(unknown.message, field="baits", code=unknown.code) from None


def _barred(advice: Advice, water: Water) -> NoAdvice | None:
    if advice.no_advice is not None and advice.no_advice.code in _BARRING:
        return advice.no_advice
    if advice.on is not None and close_season_applies(water.kind, advice.on):
        reason = "rivers in England and Wales are closed to coarse fishing on that day; local byelaws first."
        return NoAdvice("close_season", reason)
    if is_among(_POLE, read_water_rules(water.rules).methods_not_allowed):
        return NoAdvice("pole_not_allowed", "the water's rules do not allow a pole.")
    return None


def _situation(peg: Peg, question: PlanQuestion, checked: Checked) -> Situation:
    when, day = checked
    depths = PegDepth.objects.filter(peg=peg).order_by("distance_m").values_list("distance_m", "depth_cm")
    return Situation(
        water_kind=peg.water.kind,
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
