"""Raw catch rates by month, year, bait, distance and temperature; effort, compliance and species."""

from typing import Any

from analytics.catchrate.estimates import Estimates
from analytics.frames import ClubFrame


def observe_series(club_frame: ClubFrame, estimates: Estimates) -> dict[str, Any]:
    """JSON values that name no person."""
    return {}
