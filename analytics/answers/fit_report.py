"""A fit in words and tables, for a report: what was fitted to what, how it did, and whether it is served.

Everything comes from the stored run; nothing names a person.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from analytics.answers.fit_rule import rule_in_words
from analytics.catchrate.estimates import AT_ZERO, UNBOUNDED
from analytics.catchrate.spec import LABELS, DidNotWeigh
from analytics.catchrate.verdict import HELD, KEPT, UNTESTED
from analytics.models import FitRun, FitTerm
from clubdata.models import HookBait, Peg, RigType, Water

ASSOCIATION = (
    "What a term says is association, adjusted for the other terms: not proof that one thing brings about "
    "the other. Anglers choose pegs, baits and days, and record the bait that caught."
)
NOT_STOCK = (
    "A catch rate is not stock size. It can rise or fall with who fishes, how, and how willing the fish are, "
    "while the water holds as many fish as before."
)
OUTCOMES = {
    "did_not_weigh": "did not weigh in",
    "effort_not_known": "hours not known",
    "weight_not_known": "weight not known",
}
ALONG = {
    "levels": "",
    "along day_of_year": "through the year: ",
    "along distance_m": "with distance: ",
    "along water_temperature_c": "with water temperature: ",
}
NOT_RECORDED = {
    "distance_missing": "distance not recorded",
    "water_temperature_missing": "water temperature not recorded",
}
KINDS = {"factor": "levels", "line": "a straight line", "smooth": "a smooth curve"}


@dataclass(frozen=True, slots=True)
class TermRow:
    """A term: in words, the spread of its effects as a factor either way, and what it spent."""

    label: str
    kind: str
    variances: tuple[str, ...]
    edf: float


@dataclass(frozen=True, slots=True)
class Fact:
    """A figure beside what it should be near."""

    name: str
    found: str
    expected: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class BaselineRow:
    """A method's scores, and the catch model's less its own; None for the catch model."""

    method: str
    score: Mapping[str, Any]
    comparison: Mapping[str, Any] | None
    in_50: str
    in_90: str


@dataclass(frozen=True, slots=True)
class InfluentialRow:
    """A return that pulls hard, by its public id, with the peg that it moves most."""

    uid: str
    peg: str
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FitReport:
    """The run's page. `validation` is None where there was nothing to hold it against; `influential` is None
    for those whom single returns do not concern."""

    run: FitRun
    headline: str
    rule: tuple[str, ...]
    model: tuple[str, ...]
    left_out: tuple[tuple[str, int], ...]
    terms: tuple[TermRow, ...]
    dropped: tuple[tuple[str, str], ...]
    facts: tuple[Fact, ...]
    validation: Mapping[str, Any] | None
    first_test_day: date | None
    baselines: tuple[BaselineRow, ...]
    flatness: tuple[Mapping[str, Any], ...]
    blanks_by_month: tuple[Mapping[str, Any], ...]
    walls: tuple[tuple[str, str, float], ...]
    influential: tuple[InfluentialRow, ...] | None
    cautions: tuple[str, ...] = (ASSOCIATION, NOT_STOCK)


def fit_report(run: FitRun, *, names_returns: bool) -> FitReport:
    """The page of a run whose terms are at hand."""
    report = run.check_report
    diagnosis, validation = report["diagnosis"], report["validation"]
    tested = validation if "scores" in validation else None
    pulling = diagnosis["influential"] if names_returns else []
    names = _names(run, _codes(diagnosis["walls"], pulling))
    return FitReport(
        run=run,
        headline=_headline(run),
        rule=rule_in_words(),
        model=tuple(_model_in_words(run)),
        left_out=tuple((_outcome(code), count) for code, count in sorted(run.rows_left_out.items())),
        terms=tuple(_term(item) for item in run.terms.all()),
        dropped=tuple((_label(item["name"]), item["reason"]) for item in run.dropped),
        facts=tuple(_facts(report["check"], diagnosis)),
        validation=tested,
        first_test_day=date.fromisoformat(tested["first_test_day"]) if tested else None,
        baselines=tuple(_baselines(tested)) if tested else (),
        flatness=tuple(diagnosis["flatness"]),
        blanks_by_month=tuple(diagnosis.get("blanks_by_month", ())),
        walls=tuple(
            (_label(item["term"]), names.get(item["level"], ""), item["estimate"])
            for item in diagnosis["walls"]
        ),
        influential=tuple(InfluentialRow(item["uid"], names.get(item["peg"], ""), item) for item in pulling)
        if names_returns
        else None,
    )


def _headline(run: FitRun) -> str:
    if run.verdict in KEPT:
        return f"Kept, not served. {run.verdict_reason} The last fit that held goes on serving."
    serving = "It serves the club's answers." if run.promoted else "A later fit serves the club's answers."
    if run.verdict == UNTESTED:
        return f"Served without a test. {run.verdict_reason} {serving}"
    assert run.verdict == HELD  # noqa: S101 - there are no others
    return f"It held on unseen days and describes its own returns. {serving}"


def _model_in_words(run: FitRun) -> Iterator[str]:
    yield (
        f"The weight of each of {run.rows_used:,} returns, from {_day(run.first_on)} to "
        f"{_day(run.last_on)}, is taken for a draw from a Tweedie distribution, under which a blank has a "
        "chance of its own. Its expectation is the hours fished times a rate, and the logarithm of the rate "
        "is the sum of the terms below."
    )
    yield (
        "Levels such as pegs, anglers or baits are held towards their common mean as far as the returns ask "
        "for it, by variances found by restricted maximum likelihood; curves are held towards smoothness in "
        "the same way."
    )
    yield (
        f"The variance is {run.dispersion:.3g} times the expected grams to the power {run.power:.3f}"
        + (f" (± {run.power_se:.3f})." if run.power_se else ".")
    )
    yield _did_not_weigh(run)


def _did_not_weigh(run: FitRun) -> str:
    taken = {
        DidNotWeigh.LEFT_OUT: "are left out",
        DidNotWeigh.AS_ZERO: "are taken for nought",
        DidNotWeigh.CENSORED: "are taken to lie between nought and a bound",
    }
    return f"Weights of anglers who did not weigh in {taken[DidNotWeigh(run.did_not_weigh)]}."


def _outcome(code: str) -> str:
    return OUTCOMES.get(code, code.replace("_", " "))


def _label(name: str) -> str:
    return (LABELS | NOT_RECORDED).get(name, name.replace("_", " "))


def _term(item: FitTerm) -> TermRow:
    variances = tuple(_variance(component) for component in item.components)
    fixed = f"as good as free (prior {item.prior_sd:g})"
    return TermRow(_label(item.name), KINDS[item.kind], variances or (fixed,), item.edf)


def _variance(component: Mapping[str, Any]) -> str:
    along = ALONG.get(component["name"], f"{component['name']}: ")
    if component["boundary"] == AT_ZERO:
        return f"{along}none to be seen"
    if component["boundary"] == UNBOUNDED:
        return f"{along}not held"
    sd, error = component["sd"], component["log_precision_se"]
    # The standard deviation is exp(-log precision / 2).
    return f"{along}{sd:.3f}" + (f"\u00a0±\u00a0{sd * error / 2.0:.3f}" if error is not None else "")


def _facts(check: Mapping[str, Any], diagnosis: Mapping[str, Any]) -> Iterator[Fact]:
    yield Fact(
        "Blanks among the returns",
        _percent(check["blank_share_observed"]),
        _percent(check["blank_share_fitted"]),
    )
    yield Fact("Spread of the returns over that of the fit", _number(check["dispersion_ratio"]), "1.00")
    yield Fact(
        "Deviance explained beyond each water's mean rate", _percent(check["deviance_explained"]), "above 0 %"
    )
    for item in check["effort_exponents"]:
        yield Fact(
            f"Catch goes with hours, {item['session_kind']}, to the power",
            f"{item['exponent']:.2f} ± {item['standard_error']:.2f}",
            "1.00",
        )
    yield Fact("Residuals, mean", _number(diagnosis["residual_mean"]), "0.00")
    yield Fact("Residuals, standard deviation", _number(diagnosis["residual_sd"]), "1.00")


def _baselines(validation: Mapping[str, Any]) -> Iterator[BaselineRow]:
    comparisons = {item["method"]: item for item in validation["comparisons"]}
    for score in validation["scores"]:
        yield BaselineRow(
            method=score["method"],
            score=score,
            comparison=comparisons.get(score["method"]),
            in_50=_percent(score["coverage_50"]),
            in_90=_percent(score["coverage_90"]),
        )


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _percent(value: float | None) -> str:
    return "not known" if value is None else f"{100 * value:.1f} %"


def _number(value: float | None) -> str:
    return "not known" if value is None else f"{value:.2f}"


def _codes(walls: Iterable[Mapping[str, Any]], pulling: Iterable[Mapping[str, Any]]) -> set[str]:
    found = {item["level"] for item in walls} | {item["peg"] for item in pulling}
    # Levels of months and years cross two codes; none of these is anybody's id.
    return {code for code in found if code and len(code) == 32}


def _names(run: FitRun, codes: set[str]) -> dict[str, str]:
    """What the club calls the places and things that the codes stand for; people are none of them."""
    if not codes:
        return {}
    names: dict[str, str] = {}
    for model in (Water, HookBait, RigType):
        rows = model.objects.filter(club_id=run.club_id, uid__in=codes).values_list("uid", "name")
        names |= {uid.hex: name for uid, name in rows}
    pegs = Peg.objects.filter(club_id=run.club_id, uid__in=codes)
    for uid, label, water in pegs.values_list("uid", "label", "water__name"):
        names[uid.hex] = f"{water}, peg {label}"
    return names
