"""The dense design that both sides fit: the columns and penalties of an invented club, written out in full.

The engine never builds these matrices; they exist so that another program can be given exactly the same
columns, penalties, response and offset.
"""

import hashlib
from dataclasses import dataclass

import numpy as np

from analytics.catchrate.basis import FloatArray, round_to, row_products
from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.penalties import difference_penalty
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.terms import LearnedFactor, LearnedMargin, LearnedSmooth, LearnedTerm, raw_basis
from tests.simulation.club import simulate_club

#: The reference fits compare at this many returns, evenly spaced over the rows.
CHOSEN_ROWS = 500


@dataclass(frozen=True, slots=True, eq=False)
class DenseBlock:
    """Columns (n, k) and the penalties (k, k), whose precision is the sum of exp(rho_j) S_j; none is flat."""

    name: str
    columns: FloatArray
    penalties: tuple[FloatArray, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class DenseDesign:
    """The blocks side by side, with weight in grams and log rod-hours, (n,) each."""

    blocks: tuple[DenseBlock, ...]
    weight_g: FloatArray
    log_hours: FloatArray

    def columns(self) -> FloatArray:
        return np.hstack([block.columns for block in self.blocks])

    def chosen(self) -> np.ndarray:
        """Zero-based numbers of the rows that are compared."""
        count = len(self.weight_g)
        return np.arange(min(CHOSEN_ROWS, count)) * count // min(CHOSEN_ROWS, count)

    def fingerprint(self) -> str:
        """Changes with the response, the offset, or any column or penalty beyond the ninth decimal."""
        digest = hashlib.sha256()
        arrays = [self.weight_g, self.log_hours, self.columns()]
        arrays += [penalty for block in self.blocks for penalty in block.penalties]
        for array in arrays:
            # Adding zero turns -0.0 into 0.0, which would otherwise differ in its bytes.
            digest.update(np.ascontiguousarray(np.round(array, 9) + 0.0).tobytes())
        return digest.hexdigest()


def dense_design(rows: int, seed: int) -> DenseDesign:
    """The design of the simulated club of that size and seed."""
    club = simulate_club(seed, rows)
    design = learn_design(club.frame, CatchSpec())
    if isinstance(design, Refusal):
        raise ValueError(design.message)
    count = len(design.returns.hours)
    flat = [np.ones((count, 1))]
    penalised: list[DenseBlock] = []
    for term, encoded in design.terms:
        if isinstance(term, LearnedSmooth):
            penalised.append(_smooth(term, design))
        elif _is_fixed(term):
            flat.append(encoded.spread(np.eye(encoded.size)))
        else:
            penalised.append(DenseBlock(term.name, encoded.spread(np.eye(term.size)), (np.eye(term.size),)))
    blocks = (DenseBlock("fixed", np.hstack(flat)), *penalised, _bank(design))
    return DenseDesign(blocks, design.returns.weight_g, np.log(design.returns.hours))


def _is_fixed(term: LearnedTerm) -> bool:
    return isinstance(term, LearnedFactor) and term.reference is not None


def _smooth(term: LearnedSmooth, design: Design) -> DenseBlock:
    """Margins without their constant, and one penalty a margin."""
    contrasts = [_contrast(margin.spec.size) for margin in term.margins]
    columns = _margin(term.margins[0], design) @ contrasts[0]
    for margin, contrast in zip(term.margins[1:], contrasts[1:], strict=True):
        columns = row_products(columns, _margin(margin, design) @ contrast)
    roughness = [
        contrast.T
        @ difference_penalty(margin.spec.size, term.spec.order, cyclic=margin.spec.period is not None)
        @ contrast
        for margin, contrast in zip(term.margins, contrasts, strict=True)
    ]
    if len(roughness) == 1:
        return DenseBlock(term.name, columns, (roughness[0],))
    first, second = roughness
    penalties = (np.kron(first, np.eye(len(second))), np.kron(np.eye(len(first)), second))
    return DenseBlock(term.name, columns, penalties)


def _margin(margin: LearnedMargin, design: Design) -> FloatArray:
    """Basis rows less their mean over the returns; a value that was not recorded contributes nothing."""
    values = round_to(design.returns.features[margin.spec.feature].astype(float), margin.spec.resolution)
    known = ~np.isnan(values)
    rows = np.zeros((len(values), margin.spec.size))
    rows[known] = raw_basis(margin.spec, margin.lower, margin.upper, values[known])
    rows[known] -= rows[known].mean(axis=0)
    return rows


def _contrast(size: int) -> FloatArray:
    """Orthonormal columns (size, size - 1), each orthogonal to ones (Helmert)."""
    lower = np.tril(np.ones((size, size)), -1) - np.diag(np.arange(size, dtype=float))
    columns = lower[1:].T
    return columns / np.linalg.norm(columns, axis=0)


def _bank(design: Design) -> DenseBlock:
    """Pegs along the bank of their water: the graph Laplacian of the neighbours, in its own eigenvectors.

    The eigenvectors of value zero are the waters' own levels, which the water effect holds.
    """
    pegs = next(term for term, _ in design.terms if term.name == "peg")
    encoded = pegs.encode(design.returns.features)
    water = dict(zip(design.returns.features["peg"], design.returns.features["water"], strict=True))
    laplacian = np.zeros((pegs.size, pegs.size))
    for here, there in zip(range(pegs.size - 1), range(1, pegs.size), strict=True):
        if water[pegs.coefficient_names[here]] == water[pegs.coefficient_names[there]]:
            edge = np.zeros(pegs.size)
            edge[[here, there]] = 1.0, -1.0
            laplacian += np.outer(edge, edge)
    values, vectors = np.linalg.eigh(laplacian)
    kept = values > 1e-9
    return DenseBlock("peg_bank", encoded.spread(vectors[:, kept]), (np.diag(values[kept]),))
