"""The names of the figures that stand for a peg: no fitting library is needed to read them."""

from collections.abc import Mapping

#: Why two pegs of one form may differ in raw weight, and the terms of the fit that say so.
PARTS: Mapping[str, tuple[str, ...]] = {
    "who": ("angler",),
    "match_days": ("match_day",),
    "season": ("season", "year", "water_year"),
    "conditions": ("wind", "water_temperature", "water_temperature_missing"),
    "session_kind": ("session_kind",),
    "tackle": (
        *("hook_bait", "hook_bait_month", "rig_type"),
        *("distance", "distance_missing", "season_distance"),
    ),
}

#: What stands for each peg and period: counts, and sums over returns of known weight. `hours` are
#: rod-hours; `fitted_g` is the sum of fitted means, `variance_g2` that of their variances phi mu^p,
#: `information` that of mu^(2-p) / phi, `believed` that of weight times mu^(1-p) / phi, as the fit weighs
#: returns; the rest is hours times the log effect of each of `PARTS`.
COLUMNS = (
    *("returns", "blanks", "matches", "anglers"),
    *("hours", "weight_g", "fitted_g", "variance_g2", "information", "believed"),
    *PARTS,
)
ALL_YEAR = "all"
