"""The same design fitted by another program, in seconds and in standard errors.

Neither glum nor statsmodels estimates smoothing parameters for such a model, so both are given those that
our search found, with its dispersion and power; our own seconds are for the same task. Their matrices are
made beforehand, and timed apart. glum is given factors as codes, which it is built for; statsmodels needs
every column written out.
"""

import time
from collections.abc import Callable
from importlib.metadata import version
from typing import Any

import numpy as np
import pandas as pd

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import problem_of, unit_of, warm_start
from analytics.catchrate.problem import Problem
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import CatchSpec
from tests.reference.blocks import at_the_found_scale, coefficients_of, standard_errors_of
from tests.reference.oracles import Fixed, glum_coefficients, statsmodels_fit

#: Rows that a program can be given: written out, 100,000 rows of 1,000 columns are .8 GB, and copied often.
MOST_ROWS = {"glum": 1_000_000, "statsmodels": 100_000}

#: They stop at a gradient, or a change of deviance, that leaves errors like those of our own tolerance.
PROGRAMS: dict[str, Callable[[Fixed], FloatArray]] = {
    "glum": lambda fixed: glum_coefficients(fixed, gradient_tol=1e-7),
    "statsmodels": lambda fixed: statsmodels_fit(fixed, tolerance=1e-6)[0],
}


def compared(frame: pd.DataFrame, found: Estimates, program: str) -> dict[str, Any]:
    """Seconds of each at fixed smoothing parameters, theirs over ours, and how far their answers differ."""
    problem = fixed_problem(frame, found)
    ours, solution = _timed(lambda: solve(problem))
    matrix, fixed = _timed(lambda: Fixed.of(problem, by_code=program == "glum"))
    theirs, coefficients = _timed(lambda: PROGRAMS[program](fixed))
    difference = (coefficients - coefficients_of(solution)) / standard_errors_of(solution)
    return {
        "program": f"{program} {version(program)}",
        "search": "none: smoothing parameters, dispersion and power are those that our search found",
        "ours_fixed_s": round(ours, 3),
        "theirs_fixed_s": round(theirs, 3),
        "theirs_matrix_s": round(matrix, 3),
        "theirs_over_ours": round(theirs / ours, 1),
        "largest_difference_se": float(np.max(np.abs(difference))),
    }


def fixed_problem(frame: pd.DataFrame, found: Estimates) -> Problem:
    """The design of a fit, its smoothing parameters, dispersion and power no longer searched for."""
    spec = CatchSpec()
    design = learn_design(frame, spec)
    assert isinstance(design, Design)
    unit_g = unit_of(design.returns)
    solution = solve(problem_of(design, spec, unit_g), start=warm_start(found, design, unit_g))
    assert solution.converged
    return at_the_found_scale(solution)


def _timed(task: Callable[[], Any]) -> tuple[float, Any]:
    begun = time.perf_counter()
    result = task()
    return time.perf_counter() - begun, result
