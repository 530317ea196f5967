"""Known ways in which a club's records are harder than the truth behind them. Off unless asked for."""

from dataclasses import dataclass

OUNCE_G = 28.349523125
POUND_G = 453.59237


@dataclass(frozen=True, slots=True)
class Harder:
    """What goes wrong between the water and the ledger; shares lie between 0 and 1.

    The truth that moves over the years is judged as it stands in the last: an answer speaks of now.
    """

    #: The unit to which weights are rounded: OUNCE_G, POUND_G.
    resolution_g: float = 10.0
    #: Share of the weights above half a pound that are told as whole pounds.
    heaped_share: float = 0.0
    #: Share of the sessions without a water temperature.
    missing_temperature_share: float = 0.10
    #: Standard deviation of a peg's yearly step, log scale.
    peg_drift_sd: float = 0.0
    #: Mean gain of an angler a year, log scale; each learns at a pace of their own (exponential).
    learning_per_year: float = 0.0
    #: Share of the blank pleasure sessions that nobody hands in; the club then has fewer returns.
    blanks_not_handed_in_share: float = 0.0
    #: Share of the bags no heavier than `poor_bag_g`, blanks among them, that are not weighed.
    did_not_weigh_share: float = 0.0
    poor_bag_g: float = 1000.0
    #: Weights beyond it are known only to be at least this much.
    net_limit_g: float | None = None
    #: Share of the pleasure sessions whose weight is estimated, with so many times the dispersion.
    estimated_share: float = 0.0
    estimated_dispersion_ratio: float = 2.0
    #: Share of the pleasure sessions of two parts, each with its own bait, rig and distance.
    two_part_share: float = 0.0

    def __post_init__(self) -> None:
        for name in self.__slots__:
            if name.endswith("_share") and not 0 <= getattr(self, name) <= 1:
                raise ValueError(f"{name} must lie between 0 and 1")
        if self.resolution_g <= 0 or self.estimated_dispersion_ratio <= 0:
            raise ValueError("resolution and dispersion must be above zero")
