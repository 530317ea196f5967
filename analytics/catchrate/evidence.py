"""How many returns speak for what, so that an answer can say so."""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from analytics.catchrate.features import distance_band
from analytics.catchrate.terms import Features


def count_evidence(features: Features) -> dict[str, dict[str, int]]:
    """Used returns by level of each kind; pairs with a month are named 'level/month'."""
    months = [f"{month:02d}" for month in features["month"]]
    evidence = {
        name: _count(list(features[name]))
        for name in ("water", "peg", "angler", "hook_bait", "rig_type", "hook_bait_month")
    }
    evidence["month"] = _count(months)
    for name in ("water", "peg"):
        pairs = zip(features[name], months, strict=True)
        evidence[f"{name}_month"] = _count([level and f"{level}/{month}" for level, month in pairs])
    distances = features["distance_m"]
    evidence["distance_band"] = _count([distance_band(value) for value in distances[~np.isnan(distances)]])
    return evidence


def _count(levels: Sequence[str | None]) -> dict[str, int]:
    return dict(sorted(Counter(level for level in levels if level is not None).items()))
