"""What holding a fit against its own returns and against unseen days came to, and the numbers of the rule.

The rule itself is `analytics.catchrate.trust`; how often it refuses good fits and lets bad ones through
stands in `docs/trust.md`.
"""

from dataclasses import dataclass

#: The codes of a verdict that lets a fit through.
HELD, UNTESTED = "held", "untested"
#: And of those that do not: by its own returns ...
NO_GAIN = "no_gain"
BLANKS_NOT_DESCRIBED = "blanks_not_described"
SPREAD_NOT_DESCRIBED = "spread_not_described"
EFFORT_NOT_DESCRIBED = "effort_not_described"
#: ... and by unseen days.
NO_BETTER = "no_better_than_a_baseline"
INTERVALS_OFF = "intervals_off"

SERVED = (HELD, UNTESTED)
KEPT = (NO_GAIN, BLANKS_NOT_DESCRIBED, SPREAD_NOT_DESCRIBED, EFFORT_NOT_DESCRIBED, NO_BETTER, INTERVALS_OFF)
VERDICTS = (*SERVED, *KEPT)

#: The share of blanks as fitted may be so far from the share that was found.
LARGEST_BLANK_GAP = 0.10
#: The spread of the returns may be so many times that of the fit, or one over it.
LARGEST_SPREAD_RATIO = 1.25
#: The catch of a kind of session may go with hours to a power so far from one.
LARGEST_EFFORT_GAP = 0.6
#: What lies beyond one of these bounds counts when it is so many standard errors off, by which it is no luck.
CERTAIN_Z = 3.0

#: The baseline that has to be beaten, by so many standard errors of the mean difference in deviance.
FIRST_BASELINE = "water mean"
BETTER_Z = 0.5
#: Worse than any baseline, by deviance or by CRPS, is worse by more than so many standard errors.
WORSE_Z = 2.0
#: The share of unseen sessions inside a central interval, of 10 to 90 %, may be so far from the share it
#: names, and further by so many standard errors.
COVERAGE_TOLERANCE = 0.05
COVERAGE_Z = 2.5


@dataclass(frozen=True, slots=True)
class Verdict:
    """A stable code and its reason; only what `may_serve` is promoted."""

    code: str
    reason: str

    @property
    def may_serve(self) -> bool:
        return self.code in SERVED
