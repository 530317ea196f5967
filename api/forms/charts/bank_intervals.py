"""Peg form along the bank."""

from dataclasses import dataclass

from api.forms.charts.base import Chart, Spread


@dataclass(frozen=True, slots=True)
class BankPeg:
    """A peg as painted, its bank, and its multiplier on the water's typical peg.

    `left_out` says why it has none, such as a standing hazard. `raw` is its raw mean over the water's.
    `returns` is None where their number is kept back.
    """

    label: str
    bank: str
    spread: Spread | None
    returns: int | None
    left_out: str = ""
    raw: float | None = None

    @property
    def counted(self) -> str:
        """The number of its returns as written beside it."""
        return "–" if self.returns is None else str(self.returns)


@dataclass(frozen=True, slots=True, kw_only=True)
class BankIntervals(Chart):
    """Pegs in bank order, each a multiplier (1 is the water's typical peg) with its intervals."""

    pegs: tuple[BankPeg, ...]
