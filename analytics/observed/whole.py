"""What the returns say as they stand, counted when a fit is stored: the raw side of every answer."""

from typing import Any

from analytics.catchrate.estimates import Estimates
from analytics.frames import ClubFrame
from analytics.observed.pegs import observe_pegs
from analytics.observed.series import observe_series


def observe(club_frame: ClubFrame, estimates: Estimates) -> dict[str, Any]:
    """JSON values by part: `pegs` (`observe_pegs`) and `series` (`observe_series`)."""
    return {
        "pegs": observe_pegs(club_frame, estimates),
        "series": observe_series(club_frame, estimates),
    }
