"""The fit: a frame of returns and a frozen spec in, frozen estimates or a refusal out."""

import time
from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cholesky

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.equations import intercept
from analytics.catchrate.estimates import (
    AT_ZERO,
    INSIDE,
    UNBOUNDED,
    Component,
    Convergence,
    Estimates,
    Refusal,
    Rows,
    TermEstimate,
)
from analytics.catchrate.family import Tweedie
from analytics.catchrate.likelihood import Response
from analytics.catchrate.rank import dependent_columns
from analytics.catchrate.returns import ESTIMATED, Returns
from analytics.catchrate.solver import STARTING_RHO, Block, Problem, Solution, Start, solve
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.spread import Spread, spread_of
from analytics.catchrate.terms import LearnedTerm

#: Called with (done, total, what is being done); iterations are counted, and their number is not known
#: beforehand: the total is the most there can be.
Progress = Callable[[int, int, str], None]

#: What p is taken for before the data say otherwise.
STARTING_POWER = 1.5

#: What stands for the standard deviation of a flat prior.
LARGEST_SD = 1e3

#: Estimated weights need as many returns for a dispersion of their own.
RETURNS_FOR_DISPERSION = 30


def fit_catch(
    frame: pd.DataFrame,
    spec: CatchSpec | None = None,
    progress: Progress | None = None,
    warm: Estimates | None = None,
) -> Estimates | Refusal:
    """Fit the catch model to a club's returns, one row a part of a session.

    Columns: fished_on (datetime64); water, peg, angler, hook_bait, rig_type, match_day (words or
    categories, missing where not recorded); wind_force (Beaufort, or its class as a word);
    water_temperature_c, distance_m, peg_order (NaN missing); hours (rod-hours of the part); is_match;
    weight_g (of the whole session, NaN when not known); outcome. Optional: session (which rows are parts
    of one session; each its own when absent), bound_g (see `returns`). `warm` is an earlier fit of nearly
    the same returns, to begin from.

    :raises KeyError: a column is missing from the frame.
    """
    spec = spec or CatchSpec()
    tell = progress or _silent
    started = time.perf_counter()
    tell(0, spec.max_iterations, "learning the design")
    design = learn_design(frame, spec)
    if isinstance(design, Refusal):
        return design

    def report(iteration: int, largest: float) -> None:
        tell(iteration, spec.max_iterations, f"iteration {iteration}, largest gradient {largest:.1e}")

    unit_g = unit_of(design.returns)
    problem = problem_of(design, spec, unit_g)
    start = None if warm is None else warm_start(warm, design, unit_g)
    try:
        solution = solve(
            problem, start=start, max_iterations=spec.max_iterations, tolerance=spec.tolerance, report=report
        )
    except LinAlgError:
        names = ", ".join(undetermined(problem, design)) or "its terms"
        return Refusal("rank_deficient", f"the returns cannot tell these apart: {names}")
    if not solution.converged:
        largest = solution.largest_gradient
        reason = (
            f"no maximum found in {spec.max_iterations} iterations; the largest gradient is {largest:.1e}"
        )
        return Refusal("not_converged", reason)
    tell(spec.max_iterations, spec.max_iterations, "converged")
    return _estimates(design, spec, solution, unit_g, started)


def _silent(_done: int, _total: int, _message: str) -> None:
    """Progress that nobody watches."""


def unit_of(returns: Returns) -> float:
    """The weight that counts as one inside the fit: the mean of those above zero, in grams.

    Near a mean of one the power and the dispersion hardly pull at each other, and no result depends on
    the unit in which the club weighs.
    """
    caught = returns.weight_g[(returns.weight_g > 0) & ~returns.bounded]
    return float(caught.mean())


def problem_of(design: Design, spec: CatchSpec, unit_g: float) -> Problem:
    """The numbers of a design, weights in `unit_g`."""
    returns = design.returns
    flat = Block(intercept(len(returns.hours)))
    blocks = [
        flat,
        *(Block(coded, tuple(term.penalties()), term.known_precision()) for term, coded in design.terms),
    ]
    power = STARTING_POWER if spec.power is None else spec.power
    return Problem(
        family=Tweedie(power, search=spec.power is None),
        response=_response(returns, spec, unit_g),
        offset=np.log(returns.hours),
        blocks=blocks,
        eliminate=_largest_ridge(blocks),
        session=returns.session,
        freedom_correction=spec.freedom_correction,
    )


def _response(returns: Returns, spec: CatchSpec, unit_g: float) -> Response:
    classes = returns.dispersion_class
    few = np.sum(classes == ESTIMATED) < RETURNS_FOR_DISPERSION or np.all(classes == ESTIMATED)
    if few or not spec.estimated_dispersion:
        classes = np.zeros_like(classes)
    bounded = bool(returns.bounded.any())
    return Response(
        weight=returns.weight_g / unit_g,
        frequency=np.ones_like(returns.weight_g),
        dispersion_class=classes,
        lower=returns.lower_g / unit_g if bounded else None,
        upper=returns.upper_g / unit_g if bounded else None,
    )


def _largest_ridge(blocks: Sequence[Block]) -> int | None:
    """The block to eliminate first: the largest of identity codes whose precision is a diagonal."""
    found = [
        place
        for place, block in enumerate(blocks)
        if block.encoded.table is None and len(block.penalties) == 1 and block.penalties[0].ndim == 1
    ]
    return max(found, key=lambda place: blocks[place].encoded.size, default=None)


def undetermined(problem: Problem, design: Design) -> list[str]:
    """Terms that no penalty holds and that the others explain, by pivoted Cholesky on the Gram matrix."""
    names = [("intercept", "")]
    for term, _ in design.terms:
        names.extend((term.name, level) for level in term.coefficient_names)
    return [
        f"{name} {level}".strip() for name, level in (names[column] for column in dependent_columns(problem))
    ]


def warm_start(warm: Estimates, design: Design, unit_g: float) -> Start:
    """The earlier fit's numbers under this design's names; what is new begins at zero."""
    coefficients = [np.array([warm.intercept - np.log(unit_g)])]
    rho: list[float] = []
    for term, _ in design.terms:
        earlier = warm.term(term.name)
        effects = {} if earlier is None else earlier.effects()
        coefficients.append(np.array([effects.get(name, (0.0, 0.0))[0] for name in term.coefficient_names]))
        known = {} if earlier is None else {item.name: item.log_precision for item in earlier.components}
        rho.extend(known.get(name, STARTING_RHO) for name in term.penalty_names)
    unit = (warm.power - 2.0) * np.log(unit_g)
    logs = np.log([warm.dispersion, warm.estimated_dispersion]) + unit
    return Start(coefficients, np.array(rho), warm.power, logs)


def _estimates(
    design: Design, spec: CatchSpec, solution: Solution, unit_g: float, started: float
) -> Estimates:
    terms = [term for term, _ in design.terms]
    eliminated = solution.problem.eliminate
    levels_too = eliminated is not None and not terms[eliminated - 1].nuisance
    spread = spread_of(solution, smoothing_uncertainty=spec.smoothing_uncertainty, with_levels=levels_too)
    places = _places(terms, eliminated)
    joint = _joint_covariance(terms, eliminated, spread)
    found = _term_estimates(terms, solution, spread, places)
    family = solution.state.family
    assert isinstance(family, Tweedie)  # noqa: S101 - the catch model's family
    dispersions = np.exp(solution.state.log_dispersion) * unit_g ** (2.0 - family.power)
    power_se = None if not family.search else float(np.sqrt(np.linalg.inv(solution.scale_hessian)[0, 0]))
    return Estimates(
        power=family.power,
        power_se=power_se,
        dispersion=float(dispersions[0]),
        estimated_dispersion=float(dispersions[-1]),
        did_not_weigh=spec.did_not_weigh.value,
        criterion=solution.criterion,
        intercept=float(solution.state.coefficients[0] + np.log(unit_g)),
        intercept_se=float(np.sqrt(joint[0, 0])),
        terms=tuple(found),
        covariance_factor=cholesky(joint, lower=True),
        edf=1.0 + sum(item.edf for item in found),
        deviance=solution.deviances[-1] * unit_g ** (2.0 - family.power),
        convergence=Convergence(
            converged=solution.converged,
            iterations=len(solution.deviances),
            gradient=solution.largest_gradient,
            seconds=time.perf_counter() - started,
            deviances=tuple(value * unit_g ** (2.0 - family.power) for value in solution.deviances),
        ),
        rows=_rows(design.returns),
        reference=design.reference,
        dropped=design.dropped,
    )


def _places(terms: Sequence[LearnedTerm], eliminated: int | None) -> list[slice]:
    """Each term's columns among those that are not eliminated; the eliminated term's among its own."""
    places, start = [], 1
    for number, term in enumerate(terms, start=1):
        if number == eliminated:
            places.append(slice(0, term.size))
            continue
        places.append(slice(start, start + term.size))
        start += term.size
    return places


def _joint_covariance(terms: Sequence[LearnedTerm], eliminated: int | None, spread: Spread) -> FloatArray:
    """Of the intercept and every term that is not a nuisance, in the order of the terms."""
    size = len(spread.matrix)
    matrix = spread.matrix
    if spread.levels is not None:
        matrix = np.block([[spread.matrix, spread.across], [spread.across.T, spread.levels]])
    order: list[NDArray[np.int64]] = [np.array([0])]
    for number, (term, place) in enumerate(zip(terms, _places(terms, eliminated), strict=True), start=1):
        if not term.nuisance:
            shift = size if number == eliminated else 0
            order.append(np.arange(place.start + shift, place.stop + shift))
    chosen = np.concatenate(order)
    return matrix[np.ix_(chosen, chosen)]


def _term_estimates(
    terms: Sequence[LearnedTerm], solution: Solution, spread: Spread, places: Sequence[slice]
) -> list[TermEstimate]:
    found, start = [], 1
    for number, (term, place) in enumerate(zip(terms, places, strict=True), start=1):
        apart = number == solution.problem.eliminate
        values = solution.state.eliminated if apart else solution.state.coefficients[place]
        variance = spread.variance if apart else np.diag(spread.matrix)[place]
        found.append(
            TermEstimate(
                term=term,
                estimates=tuple(values.tolist()),
                standard_errors=tuple(np.sqrt(variance).tolist()),
                edf=_edf(solution, number),
                prior_sd=_prior_sd(term, solution, number),
                start=None if term.nuisance else start,
                components=_components(term, solution, spread, number),
            )
        )
        start += 0 if term.nuisance else term.size
    return found


def _edf(solution: Solution, number: int) -> float:
    """k - tr(V S) of the term."""
    penalised = solution.penalties.terms[number]
    precision = penalised.precision(_rho_of(solution, number))
    if penalised.eliminated:
        return float(penalised.size - np.sum(precision * solution.covariance.variance))
    block = solution.covariance.matrix[penalised.columns, penalised.columns]
    held = np.diag(block) @ precision if precision.ndim == 1 else np.sum(block * precision)
    return float(penalised.size - held)


def _rho_of(solution: Solution, number: int) -> FloatArray:
    rho: FloatArray = solution.state.search.rho[solution.penalties.of_term(number)]
    return rho


def _prior_sd(term: LearnedTerm, solution: Solution, number: int) -> float:
    penalised, rho = solution.penalties.terms[number], _rho_of(solution, number)
    if not term.penalty_names:
        known = float(np.max(term.known_precision()))
        return min(known**-0.5, LARGEST_SD) if known else LARGEST_SD
    precision = penalised.precision(rho)
    if term.penalty_names[0].startswith("along "):
        return float(np.exp(rho).sum() ** -0.5)
    variance = 1.0 / precision if precision.ndim == 1 else np.diag(np.linalg.inv(precision))
    return float(np.sqrt(np.mean(variance)))


def _components(term: LearnedTerm, solution: Solution, spread: Spread, number: int) -> tuple[Component, ...]:
    found = []
    for name, place in zip(term.penalty_names, solution.penalties.of_term(number), strict=True):
        rho, variance = float(solution.state.search.rho[place]), float(spread.rho_variance[place])
        lower, upper = solution.state.search.lower, solution.state.search.upper
        boundary = AT_ZERO if rho >= upper else UNBOUNDED if rho <= lower else INSIDE
        error = None if np.isnan(variance) else float(np.sqrt(variance))
        found.append(Component(name, float(np.exp(-rho / 2.0)), rho, error, boundary))
    return tuple(found)


def _rows(returns: Returns) -> Rows:
    assert returns.first is not None and returns.last is not None  # noqa: S101 - a fit has returns
    several = 0
    if returns.session is not None:
        several = int(np.sum(np.bincount(returns.session) > 1))
    return Rows(
        used=len(returns.weight_g),
        blanks=int(np.sum((returns.weight_g == 0) & ~returns.bounded)),
        bounded=int(returns.bounded.sum()),
        estimated=int(np.sum(returns.dispersion_class == ESTIMATED)),
        several_parts=several,
        left_out=returns.left_out,
        first=returns.first,
        last=returns.last,
    )
