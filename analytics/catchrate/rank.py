"""Which columns explain one another, where the equations have no unique solution."""

from collections.abc import Sequence

import numpy as np
from scipy.linalg import solve_triangular
from scipy.linalg.lapack import dpstrf

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import Equations
from analytics.catchrate.penalised import Penalised, Penalties
from analytics.catchrate.problem import Problem
from analytics.catchrate.terms import LearnedTerm

#: A pivot below this share of its own diagonal says nothing new.
NOTHING_NEW = 1e-10

#: A column has part in another's explanation from this coefficient on, with columns of one length.
HAS_PART = 1e-4

#: Of so many columns each is named, of more only the terms.
FEW = 8


def undetermined(problem: Problem, terms: Sequence[LearnedTerm]) -> list[str]:
    """What the returns cannot tell apart, a phrase for each set: 'wind 2-3 and rig type spread'.

    `terms` are those of the problem's blocks after the intercept.
    """
    names = [("intercept", "intercept")]
    for term in terms:
        name = term.name.replace("_", " ")
        # People are not named.
        levels = ["" if term.name == "angler" else f" {level}" for level in term.coefficient_names]
        names.extend((name, name + level) for level in levels)
    by_terms: dict[str, list[list[int]]] = {}
    for columns in dependent_columns(problem):
        by_terms.setdefault(_listed([names[column][0] for column in columns]), []).append(columns)
    found: list[str] = []
    for whole, sets in by_terms.items():
        few = sum(len(columns) for columns in sets) <= FEW
        found += [_listed([names[column][1] for column in columns]) for columns in sets] if few else [whole]
    return found


def _listed(words: Sequence[str]) -> str:
    return " and ".join(dict.fromkeys(words))


def dependent_columns(problem: Problem) -> list[list[int]]:
    """Sets of columns of which each is explained by the others of its set, by X'X + S.

    Columns are numbered through all blocks, ascending; there is one set for each column that is one too
    many, and no smaller set within it. The intercept, column 0, is always kept: a set that it has part in
    names the others too.
    """
    matrix = _gram(problem)
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), np.finfo(float).tiny))
    matrix = matrix * scale * scale[:, None]
    beside = matrix[1:, 1:] - np.outer(matrix[1:, 0], matrix[1:, 0])
    factor, pivots, rank, _ = dpstrf(beside, lower=1, tol=NOTHING_NEW)
    kept, left_over = pivots[:rank], pivots[rank:]
    # Of each column left over: its coefficients on the kept ones, and what is then the intercept's.
    shares = solve_triangular(factor[:rank, :rank], factor[rank:, :rank].T, lower=True, trans="T")
    mean = matrix[left_over, 0] - shares.T @ matrix[kept, 0]
    found = []
    for place, column in enumerate(left_over):
        parts = kept[np.abs(shares[:, place]) > HAS_PART]
        with_intercept = [0] if abs(mean[place]) > HAS_PART else []
        found.append(sorted([*with_intercept, int(column), *(int(part) for part in parts)]))
    return sorted(found)


def _gram(problem: Problem) -> FloatArray:
    """X'X + S, (k, k), nothing eliminated, smoothing parameters of one."""
    blocks = list(problem.blocks)
    equations = Equations([block.encoded for block in blocks], None, problem.session)
    mixture = equations.mixed(problem.offset)
    gram, _, _ = equations.gram(np.ones(equations.sessions), mixture)
    starts = np.cumsum([0, *(block.encoded.size for block in blocks)])
    terms = [
        Penalised(slice(int(starts[i]), int(starts[i + 1])), tuple(block.penalties), block.known)
        for i, block in enumerate(blocks)
    ]
    penalties = Penalties(terms, int(starts[-1]), 0)
    precision, _ = penalties.precision(np.zeros(penalties.count))
    return gram + precision
