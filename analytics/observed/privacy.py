"""Raw figures that an ordinary member is not shown: those of few anglers, and what would give them away."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Figures of fewer anglers are shown to nobody but those whose work needs them. Common practice, no source.
LEAST_ANGLERS = 5


def withheld(anglers: IntArray, *families: IntArray) -> BoolArray:
    """The figures to withhold, (w, k), of `anglers` (w, k) by water and key, zero where nobody fished.

    Figures of fewer than `LEAST_ANGLERS` are. A single one in a family whose total is shown would follow by
    subtraction, so the one of the fewest anglers beside it is withheld too: along each water within each
    of the `families` of keys, codes (k,), and across the waters at each key. The first water is the club.
    """
    hidden: BoolArray = (anglers > 0) & (anglers < LEAST_ANGLERS)
    members = [np.flatnonzero(family == code) for family in families for code in np.unique(family)]
    while True:
        before = int(hidden.sum())
        for water in range(len(anglers)):
            for keys in members:
                hidden[water, keys] |= _company(anglers[water, keys], hidden[water, keys])
        for key in range(anglers.shape[1]):
            hidden[:, key] |= _company(anglers[:, key], hidden[:, key])
        if int(hidden.sum()) == before:
            return hidden


def codes_of(words: Sequence[str]) -> IntArray:
    """A family of keys by the word that each has."""
    return np.unique(np.array(words, dtype=np.str_), return_inverse=True)[1].astype(np.int64)


def _company(anglers: IntArray, hidden: BoolArray) -> BoolArray:
    """The figure that goes with the only one that is hidden, if there is another."""
    found = np.zeros_like(hidden)
    others = np.flatnonzero((anglers > 0) & ~hidden)
    if hidden.sum() == 1 and len(others):
        found[others[np.argmin(anglers[others])]] = True
    return found
