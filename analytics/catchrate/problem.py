"""What a fit is asked: the response, the blocks of its linear predictor, and where to begin."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.family import Family
from analytics.catchrate.response import Response
from analytics.catchrate.terms import Encoded

#: The walls of a log smoothing parameter on the log scale: standard deviations from 20 to .001.
WALLS = (-6.0, 13.8)

#: Where the search begins: standard deviations of about .3.
STARTING_RHO = 2.4


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A term's codes with its penalties, (k,) or (k, k) each, and a known precision on all of them."""

    encoded: Encoded
    penalties: tuple[FloatArray, ...] = ()
    known: FloatArray | float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Response (s,), offset (r,) and the blocks of the linear predictor, the first being the intercept.

    `eliminate` names the block of identity codes with one ridge that is eliminated first. `rho` fixes the
    smoothing parameters, `dispersion` the dispersion of each class. `session` (r,) tells the session of
    each row where sessions have several parts.
    """

    family: Family
    response: Response
    offset: FloatArray
    blocks: Sequence[Block]
    eliminate: int | None = None
    session: NDArray[np.int64] | None = None
    dispersion: FloatArray | None = None
    rho: FloatArray | None = None
    walls: tuple[float, float] = WALLS
    freedom_correction: bool = True

    def at(self, rows: NDArray[np.int64]) -> "Problem":
        """The same for some of the sessions, each of one part."""
        blocks = [replace(block, encoded=block.encoded.at(rows)) for block in self.blocks]
        return replace(self, response=self.response.at(rows), offset=self.offset[rows], blocks=blocks)


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """Where to begin: by block its coefficients and log smoothing parameters; power and dispersions.

    Coefficients of None are sought from nothing, under the smoothing parameters that are given.
    """

    coefficients: Sequence[FloatArray] | None
    rho: FloatArray
    power: float
    log_dispersion: FloatArray
