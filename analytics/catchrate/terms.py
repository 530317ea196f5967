"""Terms after learning: a term of the spec with its levels, or its knots, as the data gave them.

Learning happens once, at the fit; prediction encodes new conditions with the same objects. Encoding
gives integer codes into a small table of basis rows: row `codes[i]` of the table is what observation i
contributes, -1 contributes nothing, and a table of None is the identity.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analytics.catchrate.basis import (
    FloatArray,
    IntArray,
    ObjectArray,
    cyclic_basis,
    open_basis,
    round_to,
    row_products,
)
from analytics.catchrate.penalties import factor_precision, smooth_precision
from analytics.catchrate.spec import Factor, Margin, Smooth

#: Feature name to one value an observation: strings (None when not recorded) or floats (NaN).
Features = Mapping[str, ObjectArray]


@dataclass(frozen=True, slots=True)
class Encoded:
    """Codes (n,) into a table (m, k) of basis rows, or into the identity when the table is None."""

    codes: IntArray
    table: FloatArray | None
    size: int
    unseen: IntArray

    def rows(self) -> int:
        return self.size if self.table is None else len(self.table)

    def spread(self, by_coefficient: FloatArray) -> FloatArray:
        """Per observation, the table's rows times `by_coefficient` of shape (k,) or (k, j)."""
        by_row = by_coefficient if self.table is None else self.table @ by_coefficient
        nothing = np.zeros((1, *by_row.shape[1:]))
        # A code of -1 reaches the row of zeros at the end.
        return np.concatenate([by_row, nothing])[self.codes]


@dataclass(frozen=True, slots=True)
class LearnedFactor:
    """A factor with its levels; the reference level, if there is one, has no coefficient."""

    spec: Factor
    levels: tuple[str, ...]
    reference: str | None

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

    def precision(self) -> FloatArray:
        return factor_precision(self.spec, self.size)

    def encode(self, features: Features) -> Encoded:
        """Unrecorded values and the reference contribute nothing; unseen levels are flagged 1."""
        values = features[self.spec.feature]
        index: dict[Any, int] = {level: code for code, level in enumerate(self.levels)}
        unseen_code = -2
        index[None] = -1
        if self.reference is not None:
            index[self.reference] = -1
        codes = np.fromiter((index.get(value, unseen_code) for value in values), np.int64, len(values))
        unseen = (codes == unseen_code).astype(np.int64)
        return Encoded(np.maximum(codes, -1), None, self.size, unseen)

    def prior_sd(self) -> float:
        return self.spec.prior_sd


@dataclass(frozen=True, slots=True)
class LearnedMargin:
    """One spline margin with its span and the column means that centre it on the data."""

    spec: Margin
    lower: float
    upper: float
    centre: tuple[float, ...]

    def basis(self, values: FloatArray) -> FloatArray:
        """Centred basis rows (n, size): zero on average over the returns, so a multiplier is about 1."""
        rows = raw_basis(self.spec, self.lower, self.upper, values)
        return rows - np.array(self.centre, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class LearnedSmooth:
    """A smooth with its learned margins."""

    spec: Smooth
    margins: tuple[LearnedMargin, ...]

    @property
    def name(self) -> str:
        return self.spec.name

    @property
    def nuisance(self) -> bool:
        return False

    @property
    def size(self) -> int:
        return int(np.prod([margin.size for margin in self.spec.margins]))

    @property
    def coefficient_names(self) -> tuple[str, ...]:
        return tuple(f"{self.name}.{number}" for number in range(1, self.size + 1))

    def precision(self) -> FloatArray:
        return smooth_precision(self.spec)

    def encode(self, features: Features) -> Encoded:
        """One table row a distinct rounded value (or pair of values); NaN contributes nothing."""
        columns = [
            round_to(np.asarray(features[margin.feature], dtype=np.float64), margin.resolution)
            for margin in self.spec.margins
        ]
        values = np.column_stack(columns)
        known = ~np.isnan(values).any(axis=1)
        distinct, inverse = np.unique(values[known], axis=0, return_inverse=True)
        codes = np.full(len(values), -1, dtype=np.int64)
        codes[known] = inverse.reshape(-1)
        table = self.margins[0].basis(distinct[:, 0])
        for position, margin in enumerate(self.margins[1:], start=1):
            table = row_products(table, margin.basis(distinct[:, position]))
        return Encoded(codes, table, self.size, np.zeros(len(values), dtype=np.int64))

    def prior_sd(self) -> float:
        return self.spec.roughness_sd


LearnedTerm = LearnedFactor | LearnedSmooth


def raw_basis(margin: Margin, lower: float, upper: float, values: FloatArray) -> FloatArray:
    """The margin's basis rows before centring."""
    if margin.period is not None:
        return cyclic_basis(values, margin.period, margin.size)
    return open_basis(values, lower, upper, margin.size)


def term_from_document(document: Mapping[str, Any]) -> LearnedTerm:
    """The inverse of `dataclasses.asdict` on a learned term."""
    spec = document["spec"]
    if "margins" not in spec:
        return LearnedFactor(Factor(**spec), tuple(document["levels"]), document["reference"])
    margins = tuple(
        LearnedMargin(Margin(**item["spec"]), item["lower"], item["upper"], tuple(item["centre"]))
        for item in document["margins"]
    )
    chosen = tuple(margin.spec for margin in margins)
    return LearnedSmooth(Smooth(**{**spec, "margins": chosen}), margins)
