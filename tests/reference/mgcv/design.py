"""The dense design that both sides fit: the engine's own problem for an invented club, written out in full.

The engine never builds these matrices; they exist so that another program can be given exactly the same
columns, penalties, response and offset.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from analytics.catchrate.basis import FloatArray, sum_to_zero
from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.fit import problem_of
from analytics.catchrate.problem import Block
from analytics.catchrate.spec import DEFAULT_TERMS, CatchSpec, Factor
from analytics.catchrate.terms import MONTHS
from tests.simulation.club import simulate_club

#: Returns and the seed of their club, each declared before a fit was seen.
CLUBS = {800: 801, 3000: 3001, 10000: 10001}

#: The power of the fits in which it is given.
GIVEN_POWER = 1.5

#: The reference fits compare at this many returns, evenly spaced over the rows.
CHOSEN_ROWS = 500

GRAMS_PER_KG = 1000.0

#: The whole model as a club is fitted, but that a factor with a reference level has a flat prior.
SPEC = CatchSpec(
    terms=tuple(
        replace(term, prior_sd=math.inf) if isinstance(term, Factor) and term.reference else term
        for term in DEFAULT_TERMS
    )
)


@dataclass(frozen=True, slots=True, eq=False)
class DenseBlock:
    """Columns (n, k) and the penalties (k, k), whose precision is the sum of exp(rho_j) S_j; none is flat."""

    name: str
    columns: FloatArray
    penalties: tuple[FloatArray, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class DenseDesign:
    """The blocks side by side, with weight in kilograms and log rod-hours, (n,) each."""

    blocks: tuple[DenseBlock, ...]
    weight_kg: FloatArray
    log_hours: FloatArray

    def columns(self) -> FloatArray:
        return np.hstack([block.columns for block in self.blocks])

    def chosen(self) -> np.ndarray:
        """Zero-based numbers of the rows that are compared."""
        count = len(self.weight_kg)
        return np.arange(CHOSEN_ROWS) * count // CHOSEN_ROWS

    def column_sums(self) -> FloatArray:
        """X'(weight + log hours), (k,): no column, weight or offset changes without changing these."""
        return self.columns().T @ (self.weight_kg + self.log_hours)

    def penalty_squares(self) -> FloatArray:
        """The sum of squares of each penalty matrix."""
        return np.array([np.sum(penalty**2) for block in self.blocks for penalty in block.penalties])


def club_design(rows: int) -> Design:
    """The engine's design of the reference club of that size."""
    design = learn_design(simulate_club(CLUBS[rows], rows).frame, SPEC)
    if isinstance(design, Refusal):
        raise ValueError(design.message)
    return design


def dense_design(design: Design) -> DenseDesign:
    """The design's columns and penalties in full, weights in kilograms.

    :raises ValueError: a block has a known precision that is neither flat nor the year's mean at zero.
    """
    problem = problem_of(design, SPEC, GRAMS_PER_KG)
    names = ["intercept", *(term.name for term, _ in design.terms)]
    blocks = [dense_block(name, block) for name, block in zip(names, problem.blocks, strict=True)]
    flat = np.hstack([block.columns for block in blocks if not block.penalties])
    penalised = [block for block in blocks if block.penalties]
    return DenseDesign(
        (DenseBlock("fixed", flat), *penalised), problem.response.weight, np.asarray(problem.offset)
    )


def dense_block(name: str, block: Block) -> DenseBlock:
    """One block. Effects whose sum over the year a stiff known precision holds at zero become contrasts.

    With Z orthonormal contrasts that sum to zero within each bait, effects Z g with precision Z'LZ are the
    limit of an infinitely stiff precision on the sums.
    """
    size = block.encoded.size
    columns = block.encoded.spread(np.eye(size))
    penalties = [np.diag(item) if item.ndim == 1 else item for item in block.penalties]
    if isinstance(block.known, np.ndarray):
        contrasts = np.kron(np.eye(size // MONTHS), sum_to_zero(MONTHS))
        if np.any(np.abs(block.known @ contrasts) > 1e-6):
            raise ValueError(f"{name} has a known precision on more than its sums over the year")
        columns = columns @ contrasts
        penalties = [contrasts.T @ penalty @ contrasts for penalty in penalties]
    elif block.known != 0.0:
        raise ValueError(f"{name} has a prior of known variance")
    return DenseBlock(name, columns, tuple(penalties))
