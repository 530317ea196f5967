"""One iteration of a fit: the equations at the present means, the new coefficients, the gradients there."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import Equations
from analytics.catchrate.family import Family, Tweedie, Working
from analytics.catchrate.guess import guessed_rho
from analytics.catchrate.likelihood import Correction, Likelihood
from analytics.catchrate.penalised import Penalised, Penalties
from analytics.catchrate.problem import STARTING_RHO, Problem, Start
from analytics.catchrate.reml import Derivatives, Search, derivatives
from analytics.catchrate.system import Covariance, System

HALVINGS = 12

#: Leverages are summed over at most this many sessions, evenly spaced.
SAMPLED = 40_000


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """The unknowns: coefficients (k,) and (m,), rho in `search`, family with power, log dispersions."""

    coefficients: FloatArray
    eliminated: FloatArray
    search: Search
    family: Family
    log_dispersion: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Where the iterations ended, and what the spread is made of.

    `derivatives` are the criterion's at the end, with observed weights; `covariance` has Fisher's.
    `scale_hessian` is that by power and log dispersions, of the free ones.
    """

    problem: Problem
    penalties: Penalties
    state: State
    eta: FloatArray
    covariance: Covariance
    derivatives: Derivatives | None
    scale_hessian: FloatArray
    leverage_sum: float
    largest_gradient: float
    criterion: float
    deviances: tuple[float, ...]
    converged: bool

    def as_start(self) -> Start:
        """Where another fit of the same blocks may begin."""
        state, apart = self.state, self.problem.eliminate
        starts = [term.columns for term in self.penalties.terms]
        coefficients = [
            state.eliminated if place == apart else state.coefficients[columns]
            for place, columns in enumerate(starts)
        ]
        power = state.family.power if isinstance(state.family, Tweedie) else np.nan
        return Start(coefficients, state.search.rho, power, state.log_dispersion)

    @property
    def at_wall(self) -> NDArray[np.bool_]:
        rho = self.state.search.rho
        return (rho >= self.state.search.upper) | (rho <= self.state.search.lower)


class Solver:
    """One fit in progress."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        blocks = list(problem.blocks)
        chosen = problem.eliminate
        apart = None if chosen is None else blocks[chosen]
        self.dense = [block for place, block in enumerate(blocks) if place != chosen]
        self.equations = Equations(
            [block.encoded for block in self.dense],
            None if apart is None else apart.encoded,
            problem.session,
        )
        self.penalties = _penalties(problem)
        self.likelihood = Likelihood(problem.response, problem.family, problem.dispersion)
        count = self.equations.sessions
        self.sample = np.unique(np.linspace(0, count - 1, min(count, SAMPLED)).astype(np.int64))

    def eta(self, state: State) -> FloatArray:
        """By row (part)."""
        return self.problem.offset + self.equations.predictor(state.coefficients, state.eliminated)

    def begin(self, start: Start | None) -> State:
        """The state to begin from: given, or every mean alike."""
        family, problem = self.problem.family, self.problem
        rate = float(np.sum(problem.response.weight) / np.sum(np.exp(problem.offset)))
        if not np.any(problem.offset):
            rate = float(np.mean(problem.response.weight))
        coefficients = np.zeros(self.equations.size)
        coefficients[0] = family.start(rate)
        eliminated = np.zeros(self.equations.eliminated_size)
        rho = np.full(self.penalties.count, STARTING_RHO) if problem.rho is None else problem.rho
        if start is not None and start.coefficients is not None:
            given = [value for place, value in enumerate(start.coefficients) if place != problem.eliminate]
            coefficients = np.concatenate(given)
            if problem.eliminate is not None:
                eliminated = np.asarray(start.coefficients[problem.eliminate])
        if start is not None:
            rho = start.rho if problem.rho is None else rho
            if isinstance(family, Tweedie) and family.search:
                family = family.at(start.power)
        search = Search(np.array(rho, dtype=np.float64), *problem.walls)
        state = State(coefficients, eliminated, search, family, np.zeros(self.likelihood.classes))
        eta = self.equations.total_eta(self.eta(state))
        logs = self.likelihood.start(family, eta)
        if start is not None and self.likelihood.known is None:
            logs = np.resize(start.log_dispersion, self.likelihood.classes)
        return State(coefficients, eliminated, search, family, logs)

    def penalty(self, state: State) -> float:
        """b'S b / 2."""
        matrix, own = self.penalties.precision(state.search.rho)
        value = state.coefficients @ matrix @ state.coefficients + own @ state.eliminated**2
        return 0.5 * float(value)

    def objective(self, state: State, eta: FloatArray) -> float:
        value = self.likelihood.objective(state.family, eta, state.log_dispersion) + self.penalty(state)
        return value if np.isfinite(value) else np.inf


class Round:
    """One iteration: the equations at the state's means, the new coefficients, the gradients there."""

    def __init__(
        self, solver: Solver, state: State, part_eta: FloatArray | None = None, *, coarse: bool = False
    ) -> None:
        """`part_eta` saves the linear predictor of the state from being found again; `coarse` will do with
        seven digits of the equations' solution (`System.of`)."""
        self.solver, self.state = solver, state
        equations, likelihood = solver.equations, solver.likelihood
        part_eta = solver.eta(state) if part_eta is None else part_eta
        self.new_part_eta = part_eta
        self.mixture = equations.mixed(part_eta)
        self.old_eta = equations.total_eta(part_eta)
        likelihood.allot(state.family, self.old_eta, state.log_dispersion)
        work = likelihood.working(state.family, self.old_eta, state.log_dispersion)
        self.work, self.scale = work, likelihood.scale(state.log_dispersion)
        observed = self.scale * work.observed
        gram, across, own = equations.gram(observed, self.mixture)
        precision, own_precision = solver.penalties.precision(state.search.rho)
        self.system = System.of(gram, across, own, precision, own_precision, coarse=coarse)
        pull, own_pull = equations.totals(self.scale * work.score, self.mixture)
        pull = pull - precision @ state.coefficients
        own_pull = own_pull - own_precision * state.eliminated
        move = self.system.solve(pull, own_pull)
        self.new, self.new_eta = self._halved(move)
        self._pull = pull, own_pull
        self._gram = gram, own

    def criterion(self) -> float:
        """Minus the restricted log-likelihood at the new coefficients."""
        solver, state = self.solver, self.new
        spread, _, _ = solver.penalties.log_determinant(state.search.rho)
        value = solver.objective(state, self.new_eta) + 0.5 * self.system.log_determinant() - 0.5 * spread
        return value + solver.likelihood.normaliser(state.family, state.log_dispersion)

    def approached(self) -> State:
        """The new coefficients with the dispersion that fits them, and smoothing parameters to begin from."""
        logs = self.solver.likelihood.start(self.new.family, self.new_eta)
        found = replace(self.new, log_dispersion=logs)
        if self.solver.problem.rho is not None:
            return found
        search, coefficients = found.search, (found.coefficients, found.eliminated)
        rho = guessed_rho(self.solver.penalties, search.rho, coefficients, *self._gram)
        return replace(found, search=replace(search, rho=rho))

    def steer(self) -> None:
        """The gradients of all that is searched for."""
        self.covariance = self.system.covariance()
        self.score = self._largest_score(*self._pull)
        self._correct(self.scale * self.work.observed)
        self._improve()

    def _largest_score(self, pull: FloatArray, own_pull: FloatArray) -> float:
        spread = np.sqrt(np.diag(self.covariance.matrix))
        largest = float(np.max(np.abs(pull) * spread))
        own = np.abs(own_pull) * np.sqrt(self.covariance.variance)
        return max(largest, float(np.max(own, initial=0.0)))

    def _halved(self, move: tuple[FloatArray, FloatArray]) -> tuple[State, FloatArray]:
        """The new coefficients, or as much of the way to them as does not raise the objective."""
        solver, state = self.solver, self.state
        limit = solver.objective(state, self.old_eta)
        limit += 1e-10 * abs(limit)
        share = 1.0
        for _ in range(HALVINGS):
            moved = State(
                state.coefficients + share * move[0],
                state.eliminated + share * move[1],
                state.search,
                state.family,
                state.log_dispersion,
            )
            part_eta = solver.eta(moved)
            eta = solver.equations.total_eta(part_eta)
            if solver.objective(moved, eta) <= limit:
                self.new_part_eta = part_eta
                return moved, eta
            share /= 2.0
        return state, self.old_eta

    def _correct(self, observed: FloatArray) -> None:
        """How log|H + S| / 2 answers to coefficients, dispersions and power."""
        solver, sample, state = self.solver, self.solver.sample, self.state
        equations, likelihood = solver.equations, solver.likelihood
        covariance = self.covariance
        leverages = equations.leverages(
            covariance.matrix, covariance.across, covariance.variance, self.mixture, sample
        )
        # The sample stands for all: its sum is made to agree with the degrees of freedom in all.
        total = float(equations.size + equations.eliminated_size) - self._penalised_trace()
        found = float(leverages @ observed[sample])
        leverages = leverages * (total / found)
        self.leverage_sum = total
        spread = np.zeros(equations.sessions)
        spread[sample] = leverages * self.scale[sample] * self.work.slope[sample]
        turned = equations.totals(0.5 * spread, self.mixture)
        self.turning = self.system.solve(*turned)
        along = equations.along(*self.turning, self.mixture)
        logs = state.log_dispersion
        spent = likelihood.by_class(leverages * self.work.observed[sample], logs, sample)
        self.freedom_shares = spent / np.sum(spent)
        by_class = -0.5 * spent
        by_class -= likelihood.by_class(along * self.work.score, logs)
        power = 0.0
        if isinstance(state.family, Tweedie) and state.family.search:
            score, curved = state.family.by_power(solver.problem.response.weight, self.old_eta)
            power = 0.5 * float(leverages @ (self.scale[sample] * curved[sample]))
            power += float(along @ (self.scale * score))
        if not solver.problem.freedom_correction:
            power, by_class = 0.0, np.zeros_like(by_class)
        self.correction = Correction(power, by_class)

    def _penalised_trace(self) -> float:
        """tr(V S)."""
        matrix, own = self.solver.penalties.precision(self.state.search.rho)
        return float(np.sum(self.covariance.matrix * matrix) + self.covariance.variance @ own)

    def _improve(self) -> None:
        solver, new = self.solver, self.new
        self.scaled = solver.likelihood.improved(
            new.family, self.new_eta, new.log_dispersion, self.correction
        )
        self.found: Derivatives | None = None
        if solver.penalties.count:
            self.found = derivatives(
                solver.penalties,
                new.search.rho,
                (new.coefficients, new.eliminated),
                self.system,
                self.covariance,
                turning=self.turning,
            )

    def largest_gradient(self) -> float:
        """Of everything that is searched for (see `solve`)."""
        # The step just taken leaves of the score what the means moved by: Newton's steps square the error.
        moved = float(np.max(np.abs(self.new_eta - self.old_eta)))
        gradients = [self.score * min(moved, 1.0), self.scaled.distance]
        if self.found is not None and self.solver.problem.rho is None:
            free = self.new.search.free(self.found.gradient)
            gradients.extend(np.abs(self.found.gradient[free]))
        return float(max(gradients))

    def _final_score(self, work: Working) -> float:
        solver, state = self.solver, self.new
        precision, own_precision = solver.penalties.precision(state.search.rho)
        pull, own_pull = solver.equations.totals(self.scale * work.score, self.mixture)
        return self._largest_score(
            pull - precision @ state.coefficients, own_pull - own_precision * state.eliminated
        )

    def solution(self, deviances: tuple[float, ...], *, converged: bool) -> Solution:
        """The end: this round's state, with Fisher's weights for the spread."""
        solver, state = self.solver, self.new
        work: Working = solver.likelihood.working(state.family, self.new_eta, state.log_dispersion)
        weights = self.scale * work.expected
        gram, across, own = solver.equations.gram(weights, self.mixture)
        system = System.of(gram, across, own, *solver.penalties.precision(state.search.rho))
        return Solution(
            problem=solver.problem,
            penalties=solver.penalties,
            state=state,
            eta=self.new_eta,
            covariance=system.covariance(),
            derivatives=self.found,
            scale_hessian=self.scaled.hessian,
            leverage_sum=self.leverage_sum,
            largest_gradient=max(self.largest_gradient(), self._final_score(work)),
            criterion=self.criterion(),
            deviances=deviances,
            converged=converged,
        )


def _penalties(problem: Problem) -> Penalties:
    """The blocks' penalties, their columns numbered with the eliminated block apart."""
    terms, start = [], 0
    for place, block in enumerate(problem.blocks):
        size = block.encoded.size
        apart = place == problem.eliminate
        columns = slice(0, size) if apart else slice(start, start + size)
        terms.append(Penalised(columns, tuple(block.penalties), block.known, apart))
        start += 0 if apart else size
    eliminated = 0 if problem.eliminate is None else problem.blocks[problem.eliminate].encoded.size
    return Penalties(terms, start, eliminated)
