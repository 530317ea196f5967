"""What was caught, as a fit takes it: exact weights, weights between bounds, and dispersion classes."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import weighted_counts

#: Expectation-maximisation of the blanks' classes, outside of a fit.
SETTLING_ROUNDS, SETTLED_SHARE = 200, 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """What was weighed, (s,) each: exact weights, or bounds (lower not NaN), with frequency weights.

    `dispersion_class` (s,) numbers the dispersion that each has; `prior_weight` divides it. Where
    `blank_group` (s,) is given, a blank's class is not known (nobody estimates nothing): it is any of
    those of the caught weights of its group, as the probabilities have it.
    """

    weight: FloatArray
    frequency: FloatArray
    dispersion_class: NDArray[np.integer]
    lower: FloatArray | None = None
    upper: FloatArray | None = None
    prior_weight: FloatArray | None = None
    blank_group: NDArray[np.integer] | None = None

    @classmethod
    def exact(cls, weight: FloatArray) -> "Response":
        return cls(weight, np.ones_like(weight), np.zeros(len(weight), dtype=np.int8))

    @property
    def bounded(self) -> NDArray[np.int64]:
        """Positions of the bounded weights."""
        return np.empty(0, dtype=np.int64) if self.lower is None else np.flatnonzero(~np.isnan(self.lower))

    def at(self, rows: NDArray[np.int64]) -> "Response":
        def cut(column: NDArray[Any] | None) -> NDArray[Any] | None:
            return None if column is None else column[rows]

        return Response(
            self.weight[rows],
            self.frequency[rows],
            self.dispersion_class[rows],
            cut(self.lower),
            cut(self.upper),
            cut(self.prior_weight),
            cut(self.blank_group),
        )


class Membership:
    """Which dispersion class a blank belongs to, by expectation-maximisation.

    `shares` (s, classes) are certain where something was caught, and for a blank the probabilities given
    that it is one: the class with the larger dispersion blanks more often. `mix` (groups, classes) is how
    the sessions of a group divide.
    """

    def __init__(self, response: Response) -> None:
        assert response.blank_group is not None  # noqa: S101 - asked for by whoever has groups
        self._group = response.blank_group
        self._frequency = response.frequency
        classes = int(response.dispersion_class.max()) + 1
        self.shares = np.eye(classes)[response.dispersion_class]
        unknown = response.weight == 0
        if response.lower is not None:
            unknown &= np.isnan(response.lower)
        self._blank = np.flatnonzero(unknown)
        self.shares[self._blank] = 0.0
        self.mix = self._mixed()

    def _mixed(self) -> FloatArray:
        groups = int(self._group.max()) + 1
        weighted = self.shares * self._frequency[:, None]
        sums = [weighted_counts(self._group, column, groups) for column in weighted.T]
        counted = np.stack(sums, axis=1)
        mixed: FloatArray = counted / np.maximum(counted.sum(axis=1, keepdims=True), 1.0)
        return mixed

    def allot(self, halves: FloatArray, log_dispersion: FloatArray) -> None:
        """`halves` (s,) is minus the log-probability of a blank at dispersion one."""
        with np.errstate(divide="ignore"):
            logs = np.log(self.mix[self._group[self._blank]])
        logs -= halves[self._blank, None] * np.exp(-log_dispersion)
        # A group that caught nothing divides evenly.
        logs[~np.isfinite(logs).any(axis=1)] = 0.0
        shares = np.exp(logs - logs.max(axis=1, keepdims=True))
        self.shares[self._blank] = shares / shares.sum(axis=1, keepdims=True)
        self.mix = self._mixed()

    def settle(self, halves: FloatArray, log_dispersion: FloatArray) -> None:
        """Allot until the shares stay."""
        for _ in range(SETTLING_ROUNDS):
            before = self.mix
            self.allot(halves, log_dispersion)
            if np.max(np.abs(self.mix - before)) < SETTLED_SHARE:
                return

    def surprise(self) -> float:
        """What the classes add to minus the log-likelihood."""
        share = self.mix[self._group]
        inside = self.shares > 0
        logs = np.zeros_like(self.shares)
        logs[inside] = np.log(self.shares[inside] / share[inside])
        return float(self._frequency @ np.sum(self.shares * logs, axis=1))
