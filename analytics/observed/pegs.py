"""Raw figures of each peg: who sat there, on which days, and what they weighed."""

from typing import Any

from analytics.catchrate.estimates import Estimates
from analytics.frames import ClubFrame


def observe_pegs(club_frame: ClubFrame, estimates: Estimates) -> dict[str, Any]:
    """JSON values that name no person."""
    return {}
