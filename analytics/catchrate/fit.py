"""The fit: a frame of returns and a frozen spec in, frozen estimates or a refusal out."""

import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import LinAlgError

from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.equations import intercept
from analytics.catchrate.estimates import (
    Estimates,
    Refusal,
)
from analytics.catchrate.family import Tweedie
from analytics.catchrate.problem import STARTING_RHO, Block, Problem, Start
from analytics.catchrate.rank import undetermined
from analytics.catchrate.response import Response
from analytics.catchrate.returns import ESTIMATED, Returns
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.summarise import estimates_of
from analytics.catchrate.terms import CodeArray

#: Called with (done, total, what is being done); iterations are counted, and their number is not known
#: beforehand: the total is the most there can be.
Progress = Callable[[int, int, str], None]

#: What p is taken for before the data say otherwise.
STARTING_POWER = 1.5

#: Estimated weights need as many returns for a dispersion of their own.
RETURNS_FOR_DISPERSION = 30


def fit_catch(
    frame: pd.DataFrame,
    spec: CatchSpec | None = None,
    progress: Progress | None = None,
    warm: Estimates | None = None,
    *,
    warm_effects: bool = True,
) -> Estimates | Refusal:
    """Fit the catch model to a club's returns, one row a part of a session.

    Columns: fished_on (datetime64); water, peg, angler, hook_bait, rig_type, match_day (words or
    categories, missing where not recorded); wind_force (Beaufort, or its class as a word);
    water_temperature_c, distance_m, peg_order (NaN missing); hours (rod-hours of the part); is_match;
    weight_g (of the whole session, NaN when not known); outcome. Optional: session (which rows are parts
    of one session; each its own when absent), bound_g (see `returns`). `warm` is an earlier fit of nearly
    the same returns, to begin from; without `warm_effects` only its variances, power and dispersion are.

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
    if start is not None and not warm_effects:
        start = replace(start, coefficients=None)
    try:
        solution = solve(
            problem, start=start, max_iterations=spec.max_iterations, tolerance=spec.tolerance, report=report
        )
    except LinAlgError:
        names = "; ".join(undetermined(problem, [term for term, _ in design.terms])) or "its terms"
        return Refusal("rank_deficient", f"the returns cannot tell these apart: {names}")
    if not solution.converged:
        largest = solution.largest_gradient
        reason = (
            f"no maximum found in {spec.max_iterations} iterations; the largest gradient is {largest:.1e}"
        )
        return Refusal("not_converged", reason)
    tell(spec.max_iterations, spec.max_iterations, "converged")
    return estimates_of(design, spec, solution, unit_g, started)


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
        eliminate=_largest_ridge(blocks, returns.session),
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
        blank_group=returns.kind_codes,
    )


def _largest_ridge(blocks: Sequence[Block], session: NDArray[np.int64] | None) -> int | None:
    """The block to eliminate first: the largest of identity codes whose precision is a diagonal.

    A factor that differs between the parts of a session has no diagonal block of its own.
    """
    found = [
        place
        for place, block in enumerate(blocks)
        if block.encoded.table is None
        and len(block.penalties) == 1
        and block.penalties[0].ndim == 1
        and _one_level_a_session(block.encoded.codes, session)
    ]
    return max(found, key=lambda place: blocks[place].encoded.size, default=None)


def _one_level_a_session(codes: CodeArray, session: NDArray[np.int64] | None) -> bool:
    if session is None:
        return True
    first = codes[np.flatnonzero(np.diff(session, prepend=-1))]
    return bool(np.array_equal(codes, first[session]))


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
