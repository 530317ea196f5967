"""The fit: a frame of returns and a frozen spec in, frozen estimates or a refusal out.

Priors are fixed in the spec and not searched for; the response family is statsmodels'.
"""

import time
from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy.linalg import LinAlgError
from statsmodels.genmod import families

from analytics.catchrate.design import Design, Returns, learn_design
from analytics.catchrate.equations import intercept
from analytics.catchrate.estimates import Convergence, Estimates, Refusal, Rows, TermEstimate
from analytics.catchrate.family import Family
from analytics.catchrate.solver import Block, Problem, Solution, solve
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.terms import LearnedTerm

#: Called with (done, total, what is being done); iterations are counted, and their number is not known
#: beforehand: the total is the most there can be.
Progress = Callable[[int, int, str], None]

#: A fit whose largest score exceeds this many standard errors has not found its maximum.
LARGEST_GRADIENT = 1e-4


def fit_catch(
    frame: pd.DataFrame, spec: CatchSpec | None = None, progress: Progress | None = None
) -> Estimates | Refusal:
    """Fit the catch model to a club's returns, one row each.

    Columns: fished_on (datetime64), water, peg, angler, hook_bait, rig_type, match_day (strings, missing
    where not recorded), wind_force (Beaufort), water_temperature_c, distance_m (NaN missing), hours
    (rod-hours), is_match, weight_g (NaN when not known), outcome.

    :raises KeyError: a column is missing from the frame.
    """
    spec = spec or CatchSpec()
    tell = progress or _silent
    started = time.perf_counter()
    tell(0, spec.max_iterations, "learning the design")
    design = learn_design(frame, spec)
    if isinstance(design, Refusal):
        return design

    def report(iteration: int, moved: float) -> None:
        tell(iteration, spec.max_iterations, f"iteration {iteration}, largest step {moved:.1e}")

    problem = _problem(design, spec)
    try:
        solution = solve(problem, max_iterations=spec.max_iterations, tolerance=spec.tolerance, report=report)
    except LinAlgError:
        return Refusal("rank_deficient", "the returns cannot tell the model's terms apart")
    if not solution.converged or not solution.gradient < LARGEST_GRADIENT:
        return Refusal("not_converged", f"no maximum found in {spec.max_iterations} iterations")
    tell(spec.max_iterations, spec.max_iterations, "converged")
    return _estimates(design, spec, solution, time.perf_counter() - started)


def _silent(_done: int, _total: int, _message: str) -> None:
    """Progress that nobody watches."""


def tweedie(power: float) -> Family:
    """statsmodels' Tweedie family with a log link."""
    family: Family = families.Tweedie(link=families.links.Log(), var_power=power)
    return family


def _problem(design: Design, spec: CatchSpec) -> Problem:
    returns = design.returns
    flat = Block(intercept(len(returns.hours)), np.zeros(1))
    blocks = [Block(encoded, term.precision()) for term, encoded in design.terms if not term.nuisance]
    nuisances = [Block(encoded, term.precision()) for term, encoded in design.terms if term.nuisance]
    if len(nuisances) > 1:
        raise ValueError("one nuisance factor at most")
    return Problem(
        family=tweedie(spec.power),
        response=returns.weight_g,
        offset=np.log(returns.hours),
        blocks=[flat, *blocks],
        nuisance=nuisances[0] if nuisances else None,
    )


def _estimates(design: Design, spec: CatchSpec, solution: Solution, seconds: float) -> Estimates:
    errors = solution.standard_errors
    return Estimates(
        power=spec.power,
        dispersion=solution.dispersion,
        intercept=float(solution.coefficients[0]),
        intercept_se=float(errors[0]),
        terms=_term_estimates(design, solution),
        covariance_factor=solution.covariance_factor,
        edf=solution.total_edf,
        deviance=solution.deviances[-1],
        convergence=Convergence(
            solution.converged, len(solution.deviances), solution.gradient, seconds, solution.deviances
        ),
        rows=_rows(design.returns),
        reference=design.reference,
        dropped=design.dropped,
    )


def _rows(returns: Returns) -> Rows:
    assert returns.first is not None and returns.last is not None  # noqa: S101 - a fit has returns
    blanks = int(np.sum(returns.weight_g == 0))
    return Rows(len(returns.hours), blanks, returns.left_out, returns.first, returns.last)


def _term_estimates(design: Design, solution: Solution) -> tuple[TermEstimate, ...]:
    errors = solution.standard_errors
    found, start, spent = [], 1, iter(solution.edf[1:])
    for term, _ in design.terms:
        if term.nuisance:
            found.append(
                _term_estimate(term, solution.nuisance, solution.nuisance_se, solution.nuisance_edf, None)
            )
            continue
        rows = slice(start, start + term.size)
        found.append(_term_estimate(term, solution.coefficients[rows], errors[rows], next(spent), start))
        start += term.size
    return tuple(found)


def _term_estimate(
    term: LearnedTerm, values: np.ndarray, errors: np.ndarray, edf: float, start: int | None
) -> TermEstimate:
    return TermEstimate(
        term=term,
        estimates=tuple(float(value) for value in values),
        standard_errors=tuple(float(value) for value in errors),
        edf=edf,
        prior_sd=term.prior_sd(),
        start=start,
    )
