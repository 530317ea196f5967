from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch, problem_of, unit_of, warm_start
from analytics.catchrate.fitted import fitted_returns, session_hours, session_words
from analytics.catchrate.offset import EffortExponent, effort_exponents
from analytics.catchrate.returns import ESTIMATED, Returns, usable_returns
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import CatchSpec, DidNotWeigh, Line
from analytics.catchrate.spread import spread_of
from analytics.catchrate.terms import LearnedLine
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder

KINDS = ("pleasure", "match")
SPEC = CatchSpec(did_not_weigh=DidNotWeigh.CENSORED)
SIMPLE = replace(
    SPEC, terms=tuple(term for term in SPEC.terms if term.name in ("peg", "angler", "match_day"))
)


def fitted(frame: pd.DataFrame, spec: CatchSpec = SPEC, warm: Estimates | None = None) -> Estimates:
    estimates = fit_catch(frame, spec, warm=warm)
    assert isinstance(estimates, Estimates)
    return estimates


def invented(seed: int, returns: int, spec: CatchSpec, harder: Harder) -> tuple[pd.DataFrame, Estimates]:
    """A club whose matches differ in length, and what a fit before that takes for its truth."""
    frame = simulate_club(seed, returns, pegs=30, anglers=30, harder=harder).frame.reset_index(drop=True)
    estimates = fitted(frame, spec)
    days = frame["match_day"].dropna().unique()
    lengths = dict(zip(days, np.random.default_rng(seed).integers(3, 8, len(days)), strict=True))
    hours = frame["match_day"].map(lengths).astype(float)
    return frame.assign(hours=hours.where(frame["is_match"], frame["hours"])), estimates


def redrawn(
    frame: pd.DataFrame, truth: Estimates, exponent: float, seed: int, unweighed: float = 0.0
) -> pd.DataFrame:
    """The club's sessions with new weights, whose mean goes with hours to the exponent.

    Match days have new luck; of the weights below a kilo a share did not weigh.
    """
    generator = np.random.default_rng(seed)
    day_by_day = replace(truth, terms=tuple(item for item in truth.terms if item.name != "match_day"))
    drawn = fitted_returns(day_by_day, frame)
    days, match_days = session_words(drawn.returns, "match_day"), truth.term("match_day")
    assert match_days is not None
    luck = np.append(match_days.prior_sd * generator.standard_normal(len(days.levels)), 0.0)[days.codes]
    mean = drawn.mean_g * np.exp(luck) * (session_hours(drawn.returns) / 5.0) ** (exponent - 1.0)
    weight = draw(generator, mean, drawn.dispersion, drawn.power)
    told = np.where(drawn.returns.dispersion_class == ESTIMATED, "estimated", "weighed").astype(object)
    outcome = np.where(weight == 0, "blank", told)
    outcome[(weight < 1000) & (generator.random(len(weight)) < unweighed)] = "did_not_weigh"
    sessions = frame["session"] if "session" in frame else pd.Series(frame.index)
    drawn_from = sessions.iloc[drawn.returns.position]
    rows = pd.DataFrame({"weight_g": weight, "outcome": outcome}, drawn_from).loc[sessions]
    tipped_back = rows["outcome"].to_numpy() == "did_not_weigh"
    return frame.assign(
        outcome=rows["outcome"].to_numpy(),
        weight_g=np.where(tipped_back, np.nan, rows["weight_g"].to_numpy()),
        bound_g=np.where(tipped_back, 1000.0, np.nan),
    )


def refitted(frame: pd.DataFrame, estimates: Estimates) -> dict[str, tuple[float, float]]:
    """Exponent and standard error by a whole fit with a line in log hours of each kind, unrounded."""
    design = learn_design(frame, SPEC)
    assert isinstance(design, Design)
    returns: Returns = design.returns
    log_hours = np.log(session_hours(returns))
    if returns.session is not None:
        log_hours = log_hours[returns.session]
    features, terms = dict(returns.features), list(design.terms)
    for kind in KINDS:
        mine = returns.features["session_kind"].words() == kind
        features[kind] = np.where(mine, log_hours, np.nan)
        line = LearnedLine(Line(kind, kind), float(log_hours[mine].mean()))
        terms.append((line, line.encode(features)))
    extended = replace(design, returns=replace(returns, features=features), terms=tuple(terms))
    unit_g = unit_of(returns)
    solution = solve(problem_of(extended, SPEC, unit_g), start=warm_start(estimates, extended, unit_g))
    assert solution.converged
    spread = spread_of(solution, smoothing_uncertainty=True, with_levels=False)
    values = solution.state.coefficients[-2:]
    errors = np.sqrt(np.diag(spread.matrix)[-2:])
    return {kind: (1 + value, error) for kind, value, error in zip(KINDS, values, errors, strict=True)}


@pytest.fixture(scope="module", params=["one part each", "parts, bounds, estimates"])
def club(request: pytest.FixtureRequest) -> tuple[pd.DataFrame, Estimates, float]:
    harder = Harder() if request.param == "one part each" else Harder(two_part_share=0.3, estimated_share=0.3)
    unweighed = 0.0 if request.param == "one part each" else 0.4
    return *invented(3, 3000, SPEC, harder), unweighed


@pytest.fixture(scope="module", params=[1.0, 0.8])
def found(
    request: pytest.FixtureRequest, club: tuple[pd.DataFrame, Estimates, float]
) -> tuple[float, dict[str, EffortExponent], dict[str, tuple[float, float]]]:
    frame, truth, unweighed = club
    frame = redrawn(frame, truth, request.param, seed=1, unweighed=unweighed)
    estimates = fitted(frame, warm=truth)
    exponents = effort_exponents(estimates, usable_returns(frame, SPEC))
    return request.param, {item.session_kind: item for item in exponents}, refitted(frame, estimates)


def test_one_step_finds_what_a_whole_fit_with_a_line_in_log_hours_finds(found) -> None:
    _, exponents, refits = found
    for kind in KINDS:
        exponent, error = refits[kind]
        assert abs(exponents[kind].exponent - exponent) < 0.1 * error
        # The step holds the variances of the fit without a line, so its errors are not quite the refit's.
        assert exponents[kind].standard_error == pytest.approx(error, rel=0.08)


def test_the_truth_lies_within_the_standard_errors(found) -> None:
    truth, exponents, _ = found
    for kind in KINDS:
        assert abs(exponents[kind].exponent - truth) < 3.5 * exponents[kind].standard_error


def test_long_sessions_that_give_less_than_their_hours_promise_show(found) -> None:
    truth, exponents, _ = found
    assert (exponents["pleasure"].z < -3.5) == (truth == 0.8)
    assert exponents["pleasure"].z == pytest.approx(
        (exponents["pleasure"].exponent - 1) / exponents["pleasure"].standard_error
    )


def test_match_days_are_projected_out() -> None:
    # Without them, from the covariance of the estimates alone, matches would seem to tell far more.
    frame, truth = invented(5, 2000, SIMPLE, Harder())
    frame = redrawn(frame, truth, 1.0, seed=1)
    with_days = fitted(frame, SIMPLE)
    without = fitted(frame, SIMPLE.without("match_day"))
    returns = usable_returns(frame, SIMPLE)
    errors = [effort_exponents(item, returns)[1].standard_error for item in (with_days, without)]
    assert errors[0] > 2 * errors[1]


def test_distances_from_one_are_standard_normal_where_the_truth_is_one() -> None:
    from scipy.stats import chi2

    frame, truth = invented(6, 600, SIMPLE, Harder())
    count = 40
    z = np.empty((count, 2))
    for seed in range(count):
        again = redrawn(frame, truth, 1.0, seed=seed)
        estimates = fitted(again, SIMPLE, warm=truth)
        z[seed] = [item.z for item in effort_exponents(estimates, usable_returns(again, SIMPLE))]
    assert (np.abs(z.mean(axis=0)) < 3.5 / np.sqrt(count)).all()
    squares = (z**2).sum(axis=0)
    assert ((squares > chi2.ppf(0.0005, count)) & (squares < chi2.ppf(0.9995, count))).all()


def test_hours_that_never_vary_and_kinds_with_few_sessions_are_not_judged() -> None:
    frame = simulate_club(6, 900, pegs=20, anglers=20).frame
    returns = usable_returns(frame, SIMPLE)
    estimates = fitted(frame, SIMPLE)
    assert [item.session_kind for item in effort_exponents(estimates, returns)] == ["pleasure"]
    few = frame[frame["is_match"] | (np.cumsum(~frame["is_match"]) < 30)]
    assert effort_exponents(fitted(few, SIMPLE), usable_returns(few, SIMPLE)) == ()
