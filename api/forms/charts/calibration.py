"""Whether intervals hold what they promise: nominal against observed."""

from dataclasses import dataclass, field
from math import sqrt

from api.forms.charts.base import Axis, Chart

#: The 97.5 % point of the standard normal distribution.
_NORMAL_975 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Coverage:
    """Of `of` later sessions, `inside` fell into the interval that promises the share `nominal`."""

    nominal: float
    inside: int
    of: int

    @property
    def observed(self) -> float:
        return self.inside / self.of

    @property
    def bounds(self) -> tuple[float, float]:
        """95 % bounds of the share by Wilson's score interval (Wilson 1927, JASA 22, 209)."""
        z2 = _NORMAL_975**2 / self.of
        middle = (self.observed + z2 / 2) / (1 + z2)
        half = _NORMAL_975 * sqrt(self.observed * (1 - self.observed) / self.of + z2 / 4 / self.of) / (1 + z2)
        return max(0.0, middle - half), min(1.0, middle + half)


@dataclass(frozen=True, slots=True)
class MeanPair:
    """The mean predicted and observed of a class of `returns` later sessions."""

    predicted: float
    observed: float
    returns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration(Chart):
    """Observed coverage against nominal with binomial bounds, and class means against predicted ones."""

    coverage: tuple[Coverage, ...] = ()
    means: tuple[MeanPair, ...] = ()
    weight: Axis = field(default_factory=lambda: Axis("Mean weight", "g"))
