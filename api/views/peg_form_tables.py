"""Peg form, a pair of pegs and a draw's evenness as tables and charts."""

from collections.abc import Mapping
from typing import Any

from analytics.answers.evenness import Evenness
from analytics.answers.footing import NO_RETURNS, OUT_OF_USE, STANDING_HAZARD
from analytics.answers.peg_form import PegForm, PegInForm
from analytics.answers.peg_pair import PegPair
from analytics.observed.columns import PARTS
from api.forms.charts.bank_intervals import BankIntervals, BankPeg
from api.forms.charts.bars import Bar, Bars
from api.forms.charts.base import Axis, Spread
from api.forms.sheets import Column, Kind, Sheet, sheet_of

_STANDING = (
    Column("multiplier", "Multiplier", description="On the water's typical peg.", kind=Kind.NUMBER),
    Column("lower_90", "Lower end, 90 %", kind=Kind.NUMBER),
    Column("lower_50", "Lower end, 50 %", kind=Kind.NUMBER),
    Column("upper_50", "Upper end, 50 %", kind=Kind.NUMBER),
    Column("upper_90", "Upper end, 90 %", kind=Kind.NUMBER),
    Column("chance_above_middle", "Chance above the middle", kind=Kind.NUMBER),
    Column("in_words", "In words", kind=Kind.TEXT),
    Column("expected_rank", "Expected rank", description="1 makes most.", kind=Kind.NUMBER),
    Column("rank_from_90", "Rank from, 90 %", kind=Kind.WHOLE),
    Column("rank_to_90", "Rank to, 90 %", kind=Kind.WHOLE),
    Column("chance_top_quarter", "Chance of the top quarter", kind=Kind.NUMBER),
)
_RECORD = (
    Column("returns", "Returns", "", "Of known weight; empty where kept back.", Kind.WHOLE),
    Column("blanks", "Blanks", "returns", kind=Kind.WHOLE),
    Column("matches", "In matches", "returns", kind=Kind.WHOLE),
    Column("pleasure", "For pleasure", "returns", kind=Kind.WHOLE),
    Column("anglers", "Anglers", kind=Kind.WHOLE),
    Column("raw_g_per_hour", "Raw rate", "g/h", kind=Kind.NUMBER),
    Column("raw_ratio", "Raw ratio", description="Over the water's raw rate.", kind=Kind.NUMBER),
    Column("own_share", "Share of its own returns", kind=Kind.NUMBER),
    Column("last_drawn_on", "Last drawn", kind=Kind.TEXT),
    Column("last_fished", "Last fished", kind=Kind.TEXT),
    Column("why_not", "Why not", kind=Kind.TEXT),
)
_PARTS = (*PARTS, "held_back", "heavy_sessions", "pegs_fished")
_WHY = (
    Column("peg", "Peg"),
    Column("raw_ratio", "Raw ratio", kind=Kind.NUMBER),
    Column("multiplier", "Multiplier", kind=Kind.NUMBER),
    *(Column(name, name.replace("_", " ").capitalize(), kind=Kind.NUMBER) for name in _PARTS),
    Column("remainder", "Remainder", kind=Kind.NUMBER),
    Column("why_in_words", "In words", kind=Kind.TEXT),
)
_YEARS = (
    Column("peg", "Peg"),
    Column("year", "Year", kind=Kind.WHOLE),
    Column("returns", "Returns", kind=Kind.WHOLE),
    Column("ratio", "Over expected", kind=Kind.NUMBER),
    Column("lower_90", "Lower end, 90 %", kind=Kind.NUMBER),
    Column("upper_90", "Upper end, 90 %", kind=Kind.NUMBER),
    Column("trend", "Trend"),
)
#: Short enough to stand under a drawing.
_WHY_LEFT_OUT = {STANDING_HAZARD: "standing hazard", OUT_OF_USE: "out of use", NO_RETURNS: "no returns"}
_LEFT_OUT = (Column("peg", "Peg"), Column("code", "Code"), Column("reason", "Reason"))


def peg_form_sheets(form: PegForm) -> tuple[Sheet, ...]:
    """Pegs, why raw and multiplier differ, years, and what was left out."""
    columns = (Column("peg", "Peg"), Column("bank", "Bank"), *_STANDING, *_RECORD)
    pegs = [
        {
            "peg": item.peg.label,
            "bank": item.bank,
            **_of(item.standing, _STANDING),
            **_of(item.record, _RECORD),
        }
        for item in form.pegs
    ]
    return (
        sheet_of("pegs", columns, pegs),
        sheet_of("why", _WHY, [row for item in form.pegs for row in _why(item)]),
        sheet_of("years", _YEARS, [row for item in form.pegs for row in _years(item)]),
        _left_out(form),
    )


def pair_sheets(pair: PegPair) -> tuple[Sheet, ...]:
    """One row: the comparison."""
    numbers = ("chance_first_better", "ratio", "lower_90", "lower_50", "upper_50", "upper_90")
    columns = (
        Column("first", "First peg"),
        Column("second", "Second peg"),
        *(Column(name, name.replace("_", " ").capitalize(), kind=Kind.NUMBER) for name in numbers),
        Column("in_words", "In words", kind=Kind.TEXT),
    )
    row = {"first": pair.first.label, "second": pair.second.label}
    told = [] if pair.comparison is None else [row | _of(pair.comparison, columns[2:])]
    return (sheet_of("pair", columns, told),)


def evenness_sheets(answer: Evenness) -> tuple[Sheet, ...]:
    """What each peg is worth, the summary, and what was left out."""
    numbers = ("chance_win", "chance_top_quarter", "expected_place", "expected_points")
    columns = (
        Column("peg", "Peg"),
        *(Column(name, name.replace("_", " ").capitalize(), kind=Kind.NUMBER) for name in numbers),
    )
    summary = (
        Column("even_chance_win", "Chance to win were all even", kind=Kind.NUMBER),
        Column("win_ratio", "Largest over smallest chance to win", kind=Kind.NUMBER),
        Column("effective_pegs", "Effective number of pegs", kind=Kind.NUMBER),
        Column("in_words", "In words", kind=Kind.TEXT),
    )
    pegs = [{"peg": item.peg.label} | _of(item, columns[1:]) for item in answer.pegs]
    return (
        sheet_of("pegs", columns, pegs),
        sheet_of("summary", summary, [] if answer.summary is None else [answer.summary]),
        _left_out(answer),
    )


def form_along_the_bank(form: PegForm) -> BankIntervals | None:
    """Every peg in bank order, those left out with their reason."""
    if not form.pegs:
        return None
    in_form = {item.peg.uid: item for item in form.pegs}
    left_out = {item.peg.uid: item for item in form.left_out}
    pegs = []
    for uid in form.bank_order:
        if uid in in_form:
            item = in_form[uid]
            returns, raw = item.record.returns, item.record.raw_ratio
            pegs.append(BankPeg(item.peg.label, item.bank, _spread(item), returns, raw=raw))
        elif uid in left_out:
            out = left_out[uid]
            pegs.append(BankPeg(out.peg.label, out.bank, None, None, left_out=_WHY_LEFT_OUT[out.code]))
    return BankIntervals(
        title=f"Peg form on {form.water}",
        subtitle="Multiplier on the water's typical peg, with 50 % and 90 % intervals",
        caption=(
            "Adjusted for who fished, when and with what; neighbouring pegs share strength. Raw means are "
            "over the water's raw rate, which its better pegs lift where they are fished more."
        ),
        returns=form.returns,
        pegs=tuple(pegs),
    )


def draw_chances(answer: Evenness) -> Bars | None:
    """The chance to win by peg."""
    if answer.summary is None:
        return None
    even = f"Were all pegs alike each would win {100 * answer.summary.even_chance_win:.1f} % of its matches."
    return Bars(
        title=f"What a draw is worth on {answer.water}",
        subtitle=f"Chance to win, {answer.anglers} equally able anglers",
        caption=f"{even} {answer.summary.in_words}",
        returns=answer.returns,
        value=Axis("chance to win", "%"),
        bars=tuple(Bar(f"peg {item.peg.label}", 100 * item.chance_win) for item in answer.pegs),
    )


def _spread(item: PegInForm) -> Spread:
    standing = item.standing
    return Spread(
        standing.multiplier, standing.lower_50, standing.upper_50, standing.lower_90, standing.upper_90
    )


def _of(record: object, columns: tuple[Column, ...]) -> dict[str, Any]:
    return {column.name: getattr(record, column.name) for column in columns}


def _why(item: PegInForm) -> list[Mapping[str, Any]]:
    why = item.record.why
    if why is None:
        return []
    told = {"raw_ratio": why.raw_ratio, "multiplier": why.multiplier, "remainder": why.remainder}
    return [{"peg": item.peg.label, "why_in_words": item.record.why_in_words, **told, **why.parts}]


def _years(item: PegInForm) -> list[Mapping[str, Any]]:
    trend = item.record.trend
    if trend is None:
        return []
    return [
        {
            "peg": item.peg.label,
            "year": year.year,
            "returns": year.returns,
            "trend": trend.word,
            **_of(year.over_expected, (_YEARS[3], _YEARS[4], _YEARS[5])),
        }
        for year in trend.years
    ]


def _left_out(answer: PegForm | Evenness) -> Sheet:
    rows = [{"peg": out.peg.label, "code": out.code, "reason": out.reason} for out in answer.left_out]
    return sheet_of("left-out", _LEFT_OUT, rows)
