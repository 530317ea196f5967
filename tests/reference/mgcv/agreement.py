"""How near the engine comes to mgcv on a reference club, as numbers.

uv run python -m tests.reference.mgcv.agreement --rows 800 [--power-given]
"""

import argparse
import gzip
import json
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.design import Design
from analytics.catchrate.fit import problem_of, unit_of
from analytics.catchrate.rounds import Solution
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.spread import spread_of
from tests.reference.mgcv.design import (
    CLUBS,
    GIVEN_POWER,
    GRAMS_PER_KG,
    SPEC,
    DenseDesign,
    club_design,
    dense_design,
)

#: Columns that no penalty holds beside the fixed effects: the straight lines of distance and temperature.
STRAIGHT_LINES = 2


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """Ours less mgcv's: predictions in mgcv's standard errors, (500,); errors and dispersion as a share.

    `corrected_errors` are those with the uncertainty of the smoothing parameters in them. `criterion` is
    the whole restricted log-likelihood. `log_precision` and `edf` by term, a precision at a wall left out.
    """

    predictions: FloatArray
    errors: FloatArray
    corrected_errors: FloatArray
    power: float
    dispersion: float
    criterion: float
    log_precision: Mapping[str, float]
    edf: Mapping[str, float]


def mgcv_fit(rows: int, *, power_given: bool = False) -> dict[str, Any]:
    """What mgcv found for the reference club, as fit.R wrote it."""
    given = f"_power_{GIVEN_POWER}" if power_given else ""
    path = Path(__file__).with_name(f"club_{rows}{given}.json.gz")
    found: dict[str, Any] = json.loads(gzip.decompress(path.read_bytes()))
    return found


def agreement(rows: int, *, power_given: bool = False, spec: CatchSpec = SPEC) -> Agreement:
    """Fit the reference club with the engine and hold it against mgcv."""
    design, theirs = club_design(rows), mgcv_fit(rows, power_given=power_given)
    spec = replace(spec, power=GIVEN_POWER if power_given else None)
    unit = unit_of(design.returns)
    problem = problem_of(design, spec, unit)
    solution = solve(problem, tolerance=spec.tolerance, max_iterations=spec.max_iterations)
    if not solution.converged:
        raise ValueError(f"no maximum found; the largest gradient is {solution.largest_gradient:.1e}")
    dense = dense_design(design)
    chosen, unit_kg, family = dense.chosen(), unit / GRAMS_PER_KG, solution.state.family
    dispersion_kg = float(np.exp(solution.state.log_dispersion[0])) * unit_kg ** (2.0 - family.power)
    theirs_se = np.array(theirs["eta_se"])
    ours_se, ours_corrected = (prediction_errors(solution, chosen, corrected=item) for item in (False, True))
    return Agreement(
        predictions=(solution.eta[chosen] + np.log(unit_kg) - theirs["eta_kg"]) / theirs_se,
        errors=ours_se / theirs_se - 1.0,
        corrected_errors=ours_corrected / np.array(theirs["eta_se_corrected"]) - 1.0,
        power=family.power - theirs["power"],
        dispersion=dispersion_kg / theirs["scale_kg"] - 1.0,
        criterion=whole_criterion(solution, dense, unit_kg) - theirs["reml_kg"],
        log_precision=dict(_precisions(design, solution, theirs)),
        edf=dict(_freedom(design, solution, theirs)),
    )


def prediction_errors(solution: Solution, rows: np.ndarray, *, corrected: bool) -> FloatArray:
    """Standard errors of the linear predictor at some rows, match days included."""
    spread = spread_of(solution, smoothing_uncertainty=corrected, with_levels=True)
    assert spread.levels is not None
    joint = np.block([[spread.matrix, spread.across], [spread.across.T, spread.levels]])
    blocks, apart = list(solution.problem.blocks), solution.problem.eliminate
    assert apart is not None
    blocks.append(blocks.pop(apart))
    columns = np.hstack([block.encoded.spread(np.eye(block.encoded.size))[rows] for block in blocks])
    return np.sqrt(np.einsum("ij,jk,ik->i", columns, joint, columns))


def whole_criterion(solution: Solution, dense: DenseDesign, unit_kg: float) -> float:
    """Minus the restricted log-likelihood in kilograms, with every constant that mgcv puts in.

    mgcv's has the volume of the coefficients that no penalty holds (Wood 2011, JRSSB 73:3, eq. 4).
    """
    flat = dense.blocks[0].columns.shape[1] + STRAIGHT_LINES
    units = float(np.sum(solution.problem.response.weight > 0)) * np.log(unit_kg)
    return solution.criterion + units - 0.5 * flat * np.log(2.0 * np.pi)


def _precisions(design: Design, solution: Solution, theirs: Mapping[str, Any]) -> Iterator[tuple[str, float]]:
    names = [(term.name, name) for term, _ in design.terms for name in term.penalty_names]
    rho, at_wall = solution.state.search.rho, solution.at_wall
    for (term, name), ours, walled, other in zip(names, rho, at_wall, theirs["log_precision"], strict=True):
        if not walled:
            yield f"{term}, {name}", float(ours - other)


def _freedom(design: Design, solution: Solution, theirs: Mapping[str, Any]) -> Iterator[tuple[str, float]]:
    """k - tr(V S) of each penalised term, Fisher's weights in V."""
    for number, (term, _) in enumerate(design.terms, start=1):
        if not term.penalty_names:
            continue
        numbers = solution.penalties.of_term(number)
        held = [
            np.exp(solution.state.search.rho[j]) * solution.penalties.trace(j, solution.covariance)
            for j in numbers
        ]
        size = term.size - len(_year_sums(solution, number))
        yield term.name, float(size - sum(held)) - theirs["edf"][term.name]


def _year_sums(solution: Solution, number: int) -> FloatArray:
    """The directions that a stiff known precision holds at zero."""
    known = solution.problem.blocks[number].known
    if not isinstance(known, np.ndarray):
        return np.zeros(0)
    values = np.linalg.eigvalsh(known)
    return values[values > 0.5 * values.max()]


def main() -> None:
    parser = argparse.ArgumentParser(description="Hold the engine against mgcv's fit of a reference club.")
    parser.add_argument("--rows", type=int, required=True, choices=sorted(CLUBS))
    parser.add_argument("--power-given", action="store_true")
    chosen = parser.parse_args()
    found = agreement(chosen.rows, power_given=chosen.power_given)
    lines = [
        f"predictions, standard errors: worst {np.abs(found.predictions).max():.1e}",
        f"standard errors: {found.errors.min():+.1e} to {found.errors.max():+.1e}",
        f"corrected: {found.corrected_errors.min():+.1e} to {found.corrected_errors.max():+.1e}",
        f"power {found.power:+.1e}, dispersion {found.dispersion:+.1e}, criterion {found.criterion:+.1e}",
        *(f"log precision of {name}: {value:+.1e}" for name, value in found.log_precision.items()),
        *(f"edf of {name}: {value:+.1e}" for name, value in found.edf.items()),
    ]
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
