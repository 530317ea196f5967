"""Whether catch goes with effort as the model takes it: the offset log hours with a coefficient of one.

Beside a fit, each kind of session is given a coefficient of its own on log hours less their mean, and one
step of Newton's from the fit estimates it: with U its score and I its information once all fitted columns are
projected out, I = z'Wz - z'WX (X'WX + S)^-1 X'Wz, the step is U / I and its standard error I^(-1/2) (the
score test: Cox & Hinkley 1974, *Theoretical Statistics*, sec. 9.3). W are the observed weights, with which a
step from one lands within a tenth of a standard error of a whole fit even where the truth is .6; Fisher's
fall short. X holds every term, match days too, which the covariance of the estimates has averaged over:
hours often vary between matches alone. Smoothing parameters, dispersion and power are as fitted.
"""

from dataclasses import dataclass, replace

import numpy as np

from analytics.catchrate.basis import FloatArray, ObjectArray
from analytics.catchrate.design import Design
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import problem_of, unit_of, warm_start
from analytics.catchrate.fitted import session_hours, session_words
from analytics.catchrate.returns import Returns
from analytics.catchrate.solver import Solver, Start
from analytics.catchrate.spec import MATCH, PLEASURE, CatchSpec, Line
from analytics.catchrate.system import System
from analytics.catchrate.terms import Coded, LearnedLine

#: Sessions of a kind needed to judge it.
FEWEST_SESSIONS = 30
#: Log hours are taken to a hundredth, so that few values are counted.
RESOLUTION = 0.01


@dataclass(frozen=True, slots=True)
class EffortExponent:
    """Of one kind of session: expected weight goes with hours to the power of `exponent`.

    The model says one; `z` is the distance from it in standard errors. Below one, long sessions give less
    than their hours promise.
    """

    session_kind: str
    sessions: int
    exponent: float
    standard_error: float
    z: float


def effort_exponents(estimates: Estimates, returns: Returns) -> tuple[EffortExponent, ...]:
    """The exponent of each kind of session whose hours vary, of which there are enough; see the module."""
    features, lines, sessions = _lines(returns)
    if not lines:
        return ()
    returns = replace(returns, features=features)
    terms = [*(item.term for item in estimates.terms), *lines.values()]
    encoded = tuple((term, term.encode(features)) for term in terms)
    design = Design(returns, encoded, estimates.dropped, estimates.reference)
    step, covariance = _newton_step(estimates, design, len(lines))
    errors = np.sqrt(np.diag(covariance))
    return tuple(
        EffortExponent(kind, sessions[kind], 1.0 + float(move), float(error), float(move / error))
        for kind, move, error in zip(lines, step, errors, strict=True)
    )


def _lines(returns: Returns) -> tuple[dict[str, ObjectArray | Coded], dict[str, LearnedLine], dict[str, int]]:
    """The features with each kind's log hours (NaN in other kinds), its line and its number of sessions."""
    kinds = session_words(returns, "session_kind")
    log_hours = np.round(np.log(session_hours(returns)) / RESOLUTION) * RESOLUTION
    features: dict[str, ObjectArray | Coded] = dict(returns.features)
    lines, sessions = {}, {}
    for kind in (PLEASURE, MATCH):
        mine = kinds.codes == kinds.levels.index(kind)
        if mine.sum() < FEWEST_SESSIONS or np.ptp(log_hours[mine]) == 0.0:
            continue
        name = f"log_hours_{kind}"
        column = np.where(mine, log_hours, np.nan)
        features[name] = column if returns.session is None else column[returns.session]
        lines[kind] = LearnedLine(Line(name, name), float(log_hours[mine].mean()))
        sessions[kind] = int(mine.sum())
    return features, lines, sessions


def _newton_step(estimates: Estimates, design: Design, lines: int) -> tuple[FloatArray, FloatArray]:
    """The step of the last `lines` coefficients from zero, the others at the fit, and their covariance."""
    unit_g = unit_of(design.returns)
    start = warm_start(estimates, design, unit_g)
    solver = _solver(design, start, unit_g)
    equations, likelihood = solver.equations, solver.likelihood
    state = solver.begin(start)
    part_eta = solver.eta(state)
    mixture = equations.mixed(part_eta)
    # As `equations.total_eta` has it, without mixing the parts again.
    eta = part_eta if mixture is None else np.append(part_eta[: equations.singles], mixture.log_total)
    if likelihood.membership is not None:
        halves = state.family.halves(design.returns.weight_g / unit_g, eta)
        likelihood.membership.settle(halves, state.log_dispersion)
    work = likelihood.working(state.family, eta, state.log_dispersion)
    scale = likelihood.scale(state.log_dispersion)
    precision, own_precision = solver.penalties.precision(state.search.rho)
    system = System.of(*equations.gram(scale * work.observed, mixture), precision, own_precision)
    pull, own_pull = equations.totals(scale * work.score, mixture)
    pull, own_pull = pull - precision @ state.coefficients, own_pull - own_precision * state.eliminated
    step, _ = system.solve(pull, own_pull)
    chosen = np.eye(equations.size)[:, -lines:]
    covariance, _ = system.solve(chosen, np.zeros((equations.eliminated_size, lines)))
    return step[-lines:], covariance[-lines:]


def _solver(design: Design, start: Start, unit_g: float) -> Solver:
    """The fit's problem with everything but the coefficients held."""
    problem = problem_of(design, CatchSpec(power=start.power), unit_g)
    classes = int(problem.response.dispersion_class.max()) + 1
    dispersion = np.exp(start.log_dispersion[:classes])
    return Solver(replace(problem, rho=start.rho, dispersion=dispersion))
