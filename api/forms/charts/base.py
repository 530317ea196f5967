"""What the charts share: axes with units, estimates with two intervals, and what stands around a drawing."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Axis:
    """What an axis shows, and in which unit; weights ('g', 'kg', 'g/h') get a second scale in lb."""

    title: str
    unit: str = ""

    @property
    def label(self) -> str:
        title = f"{self.title[:1].upper()}{self.title[1:]}"
        return f"{title} ({self.unit})" if self.unit else title


@dataclass(frozen=True, slots=True)
class Spread:
    """An estimate between the ends of its 50 % and 90 % intervals."""

    estimate: float
    lower_50: float
    upper_50: float
    lower_90: float
    upper_90: float


@dataclass(frozen=True, slots=True)
class BandPoint:
    """An estimate at a place of the horizontal axis; `returns` speak for it, where that is known."""

    x: float
    spread: Spread
    returns: int | None = None


@dataclass(frozen=True, slots=True)
class BandLine:
    """A named line of points, from left to right. A gap in it is two lines of one name."""

    name: str
    points: tuple[BandPoint, ...]


@dataclass(frozen=True, slots=True)
class RawPoint:
    """A raw mean beside a line, and how many returns it is the mean of."""

    x: float
    value: float
    returns: int


@dataclass(frozen=True, slots=True)
class Mark:
    """What happened at a place of the horizontal axis."""

    x: float
    label: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A place of an axis under a word of its own, such as a month."""

    x: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A drawing's words. `returns` are all that speak for it; `subtitle` says on which reference."""

    title: str
    subtitle: str = ""
    caption: str = ""
    returns: int

    @property
    def sentences(self) -> str:
        """The caption with the number of returns."""
        count = "1 return" if self.returns == 1 else f"{self.returns:,} returns"
        return f"{self.caption} From {count}.".strip()
