"""Terms after learning: a term of the spec with its levels, or its knots, as the data gave them.

Learning happens once, at the fit; prediction encodes new conditions with the same objects. Encoding
gives integer codes into a small table of basis rows: row `codes[i]` of the table is what observation i
contributes, -1 contributes nothing, and a table of None is the identity.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import (
    FloatArray,
    ObjectArray,
    cyclic_basis,
    open_basis,
    round_to,
    row_products,
    sum_to_zero,
)
from analytics.catchrate.penalties import neighbour_penalty, smooth_penalties
from analytics.catchrate.spec import Factor, Line, Margin, Neighbours, Smooth

CodeArray = NDArray[np.int32]

NO_LEVEL = -1
UNSEEN = -2

MONTHS = 12

#: Lists of asked levels whose places among a term's own are kept.
KEPT_PLACES = 256

#: The precision that holds a sum at zero (standard deviation .001).
STIFF = 1e6


@dataclass(frozen=True, slots=True, eq=False)
class Coded:
    """A column of words as codes (n,) into its levels; -1 is not recorded."""

    codes: CodeArray
    levels: tuple[str, ...]

    def counts(self) -> NDArray[np.int64]:
        """Observations by level."""
        return np.bincount(self.codes + 1, minlength=len(self.levels) + 1)[1:]

    def words(self) -> ObjectArray:
        """The column as strings, None where not recorded."""
        return np.array([*self.levels, None], dtype=object)[self.codes]


#: Feature name to one value an observation: strings (None when not recorded), codes, or floats (NaN).
Features = Mapping[str, ObjectArray | Coded]


@dataclass(frozen=True, slots=True, eq=False)
class Encoded:
    """Codes (n,) into a table (m, k) of basis rows, or into the identity when the table is None.

    `unseen` (n,) is true where the level was not met when the term was learned, `absent` where no level
    was given; None stands for nowhere.
    """

    codes: CodeArray
    table: FloatArray | None
    size: int
    unseen: NDArray[np.bool_] | None = None
    absent: NDArray[np.bool_] | None = None

    def rows(self) -> int:
        return self.size if self.table is None else len(self.table)

    def spread(self, by_coefficient: FloatArray) -> FloatArray:
        """Per observation, the table's rows times `by_coefficient` of shape (k,) or (k, j)."""
        by_row = by_coefficient if self.table is None else self.table @ by_coefficient
        nothing = np.zeros((1, *by_row.shape[1:]))
        # A code of -1 reaches the row of zeros at the end.
        spread: FloatArray = np.concatenate([by_row, nothing])[self.codes]
        return spread

    def at(self, rows: Any) -> "Encoded":
        """The same columns for some of the observations."""
        return Encoded(self.codes[rows], self.table, self.size)


@dataclass(frozen=True, slots=True)
class LearnedFactor:
    """A factor with its levels; the reference level, if there is one, has no coefficient.

    `links` are pairs of positions in `levels` that lie next to one another.
    """

    spec: Factor
    levels: tuple[str, ...]
    reference: str | None
    links: tuple[tuple[int, int], ...] = ()

    @property
    def name(self) -> str:
        return self.spec.name

    @property
    def nuisance(self) -> bool:
        return self.spec.nuisance

    @property
    def size(self) -> int:
        return len(self.levels)

    @property
    def coefficient_names(self) -> tuple[str, ...]:
        return self.levels

    @property
    def penalty_names(self) -> tuple[str, ...]:
        """What each estimated variance is of; none where the prior is fixed."""
        if self.spec.prior_sd is not None:
            return ()
        if self.spec.neighbours is Neighbours.MONTHS:
            return (self.spec.neighbours.value,)
        return ("levels", self.spec.neighbours.value) if self.spec.neighbours and self.links else ("levels",)

    def penalties(self) -> list[FloatArray]:
        """One a name: (k,) a diagonal or (k, k)."""
        if not self.penalty_names:
            return []
        if self.spec.neighbours is Neighbours.MONTHS:
            return [neighbour_penalty(self.size, self.links)]
        if len(self.penalty_names) == 1:
            return [np.ones(self.size)]
        return [np.ones(self.size), neighbour_penalty(self.size, self.links)]

    def known_precision(self) -> FloatArray | float:
        """What is not estimated: a fixed prior, and the year's mean of a factor around the year at zero."""
        if self.spec.neighbours is Neighbours.MONTHS:
            return STIFF * np.kron(np.eye(self.size // MONTHS), np.full((MONTHS, MONTHS), 1.0 / MONTHS))
        return 0.0 if self.spec.prior_sd is None else 1.0 / self.spec.prior_sd**2

    def encode(self, features: Features) -> Encoded:
        """Unrecorded values and the reference contribute nothing; unseen levels are flagged."""
        values = features[self.spec.feature]
        if isinstance(values, Coded):
            places, some_unseen = _places(self.levels, self.reference, values.levels)
            codes = places[values.codes]
            if not some_unseen:
                return Encoded(codes, None, self.size)
            return Encoded(np.maximum(codes, NO_LEVEL), None, self.size, codes == UNSEEN)
        index: dict[Any, int] = {level: code for code, level in enumerate(self.levels)}
        if self.reference is not None:
            index[self.reference] = NO_LEVEL
        index[None] = NO_LEVEL
        codes = np.fromiter((index.get(value, UNSEEN) for value in values), np.int32, len(values))
        absent = np.fromiter((value is None for value in values), np.bool_, len(values))
        return Encoded(np.maximum(codes, NO_LEVEL), None, self.size, codes == UNSEEN, absent)


@lru_cache(maxsize=KEPT_PLACES)
def _places(
    levels: tuple[str, ...], reference: str | None, asked: tuple[str, ...]
) -> tuple[NDArray[np.int32], bool]:
    """The code of each level that is asked about, then of none named; and whether one was never met.

    Kept, since questions of one fit name the same levels again and again.
    """
    index = {level: code for code, level in enumerate(levels)}
    if reference is not None:
        index[reference] = NO_LEVEL
    places = [*(index.get(level, UNSEEN) for level in asked), NO_LEVEL]
    codes = np.array(places, dtype=np.int32)
    codes.setflags(write=False)
    return codes, UNSEEN in places


@dataclass(frozen=True, slots=True)
class LearnedLine:
    """A line through the mean of its feature; `values` met at the fit are not kept."""

    spec: Line
    mean: float

    nuisance = False
    size = 1
    penalty_names: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        return self.spec.name

    @property
    def coefficient_names(self) -> tuple[str, ...]:
        return (self.name,)

    def penalties(self) -> list[FloatArray]:
        return []

    def known_precision(self) -> FloatArray | float:
        return 1.0 / self.spec.prior_sd**2

    def encode(self, features: Features) -> Encoded:
        """One table row a distinct value; NaN contributes nothing."""
        values = np.asarray(features[self.spec.feature], dtype=np.float64)
        known = ~np.isnan(values)
        distinct, inverse = np.unique(values[known], return_inverse=True)
        codes = np.full(len(values), NO_LEVEL, dtype=np.int32)
        codes[known] = inverse
        return Encoded(codes, (distinct - self.mean)[:, None], 1)


@dataclass(frozen=True, slots=True)
class LearnedMargin:
    """One spline margin with its span and the column means that centre it on the data."""

    spec: Margin
    lower: float
    upper: float
    centre: tuple[float, ...]

    def basis(self, values: FloatArray) -> FloatArray:
        """Basis rows (n, size - 1): zero on average over the returns, so a multiplier is about 1."""
        rows = raw_basis(self.spec, self.lower, self.upper, values)
        centred = rows - np.array(self.centre, dtype=np.float64)
        return centred @ sum_to_zero(self.spec.size)


@dataclass(frozen=True, slots=True)
class LearnedSmooth:
    """A smooth with its learned margins; `scales` multiply its penalties (`penalties.scaled_to_curve`)."""

    spec: Smooth
    margins: tuple[LearnedMargin, ...]
    scales: tuple[float, ...] = ()

    nuisance = False

    @property
    def name(self) -> str:
        return self.spec.name

    @property
    def size(self) -> int:
        return int(np.prod([margin.size - 1 for margin in self.spec.margins]))

    @property
    def coefficient_names(self) -> tuple[str, ...]:
        return tuple(f"{self.name}.{number}" for number in range(1, self.size + 1))

    @property
    def penalty_names(self) -> tuple[str, ...]:
        return tuple(f"along {margin.feature}" for margin in self.spec.margins)

    def penalties(self) -> list[FloatArray]:
        scales = self.scales or (1.0,) * len(self.margins)
        return [scale * penalty for scale, penalty in zip(scales, smooth_penalties(self.spec), strict=True)]

    def known_precision(self) -> FloatArray | float:
        return 0.0

    def encode(self, features: Features) -> Encoded:
        """One table row a cell of the rounded grid that is met; NaN contributes nothing."""
        columns = [np.asarray(features[margin.feature], dtype=np.float64) for margin in self.spec.margins]
        known = ~np.isnan(columns[0])
        for column in columns[1:]:
            known &= ~np.isnan(column)
        cells = np.zeros(int(known.sum()), dtype=np.int64)
        grids: list[FloatArray] = []
        for margin, column in zip(self.spec.margins, columns, strict=True):
            steps = np.rint(column[known] / margin.resolution).astype(np.int64)
            first, last = (int(steps.min()), int(steps.max())) if len(steps) else (0, 0)
            cells = cells * (last - first + 1) + (steps - first)
            grids.append(np.arange(first, last + 1, dtype=np.float64) * margin.resolution)
        met, inverse = _distinct(cells, int(np.prod([len(grid) for grid in grids])))
        codes = np.full(len(columns[0]), NO_LEVEL, dtype=np.int32)
        codes[known] = inverse
        places = np.unravel_index(met, [len(grid) for grid in grids])
        table = self.margins[0].basis(grids[0][places[0]])
        for position, learned in enumerate(self.margins[1:], start=1):
            table = row_products(table, learned.basis(grids[position][places[position]]))
        return Encoded(codes, table, self.size)


LearnedTerm = LearnedFactor | LearnedLine | LearnedSmooth


def _distinct(cells: NDArray[np.int64], size: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The cells that are met, ascending, and each observation's place among them."""
    if size > 4 * len(cells) + 1000:
        found: tuple[NDArray[np.int64], NDArray[np.int64]] = np.unique(cells, return_inverse=True)
        return found
    met = np.bincount(cells, minlength=size) > 0
    return np.flatnonzero(met), (np.cumsum(met) - 1)[cells]


def raw_basis(margin: Margin, lower: float, upper: float, values: FloatArray) -> FloatArray:
    """The margin's basis rows before centring, of values rounded to its resolution."""
    values = round_to(values, margin.resolution)
    if margin.period is not None:
        return cyclic_basis(values, margin.period, margin.size)
    return open_basis(values, lower, upper, margin.size)


def term_from_document(document: Mapping[str, Any]) -> LearnedTerm:
    """The inverse of `dataclasses.asdict` on a learned term."""
    spec = document["spec"]
    if "margins" in spec:
        margins = tuple(
            LearnedMargin(Margin(**item["spec"]), item["lower"], item["upper"], tuple(item["centre"]))
            for item in document["margins"]
        )
        chosen = tuple(margin.spec for margin in margins)
        return LearnedSmooth(Smooth(**{**spec, "margins": chosen}), margins, tuple(document["scales"]))
    if "mean" in document:
        return LearnedLine(Line(**spec), document["mean"])
    neighbours = None if spec["neighbours"] is None else Neighbours(spec["neighbours"])
    return LearnedFactor(
        Factor(**{**spec, "neighbours": neighbours}),
        tuple(document["levels"]),
        document["reference"],
        tuple((left, right) for left, right in document["links"]),
    )
