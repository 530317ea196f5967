"""What holding a fit against unseen days came to."""

from dataclasses import dataclass

#: The codes of a verdict that lets a fit through.
HELD, UNTESTED = "held", "untested"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A stable code and its reason; only what `may_serve` is promoted."""

    code: str
    reason: str
    may_serve: bool
