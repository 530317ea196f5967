"""Which columns the others explain, where the equations have no unique solution."""

import numpy as np
from scipy.linalg.lapack import dpstrf

from analytics.catchrate.equations import Equations
from analytics.catchrate.problem import Problem
from analytics.catchrate.reml import Penalised, Penalties

#: A pivot below this share of its own diagonal says nothing new.
NOTHING_NEW = 1e-10


def dependent_columns(problem: Problem) -> list[int]:
    """Columns, numbered through all blocks, left over by a pivoted Cholesky of X'X + S."""
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
    matrix = gram + precision
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), np.finfo(float).tiny))
    _, pivots, rank, _ = dpstrf(matrix * scale * scale[:, None], lower=1, tol=NOTHING_NEW)
    return sorted(int(column) - 1 for column in pivots[rank:])
