"""Whether a fit may be served: a written rule on its own returns and on days that it had not seen.

The numbers of the rule are in `analytics.catchrate.verdict`.
"""

from collections.abc import Iterator

from analytics.catchrate.calibration import Calibration
from analytics.catchrate.check import Check
from analytics.catchrate.clusters import Mean
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.validation import Comparison, Validation
from analytics.catchrate.verdict import (
    BETTER_Z,
    BLANKS_NOT_DESCRIBED,
    CERTAIN_Z,
    COVERAGE_TOLERANCE,
    COVERAGE_Z,
    EFFORT_NOT_DESCRIBED,
    FIRST_BASELINE,
    HELD,
    INTERVALS_OFF,
    LARGEST_BLANK_GAP,
    LARGEST_EFFORT_GAP,
    LARGEST_SPREAD_RATIO,
    NO_BETTER,
    NO_GAIN,
    SPREAD_NOT_DESCRIBED,
    UNTESTED,
    WORSE_Z,
    Verdict,
)


def verdict_of(check: Check, validation: Validation | Refusal) -> Verdict:
    """Judge a fit by its check and by its forecasts of unseen days."""
    own = misfit_of(check)
    if own is not None:
        return own
    if isinstance(validation, Refusal):
        return Verdict(UNTESTED, f"Not held against unseen days: {validation.message}.")
    objections = [*_beside_baselines(validation), *_of_intervals(validation.calibration)]
    return next(iter(objections), Verdict(HELD, ""))


def misfit_of(check: Check) -> Verdict | None:
    """What keeps a fit from being served whatever it says of unseen days, or None.

    A number that is not finite is off.
    """
    return next(_misfits(check), None)


def _misfits(check: Check) -> Iterator[Verdict]:
    if not check.deviance_explained > 0.0:
        yield Verdict(NO_GAIN, "The fit says no more than each water's mean catch rate does.")
    found, fitted = check.blank_share_observed, check.blank_share_fitted
    if not abs(found - fitted) <= LARGEST_BLANK_GAP:
        yield Verdict(
            BLANKS_NOT_DESCRIBED, f"{found:.0%} of the returns are blanks where the fit expects {fitted:.0%}."
        )
    for item in check.effort_exponents:
        near = abs(item.exponent - 1.0) <= LARGEST_EFFORT_GAP
        if not (near or abs(item.z) <= CERTAIN_Z):
            yield Verdict(
                EFFORT_NOT_DESCRIBED,
                f"The catch of a {item.session_kind} session goes with its hours to the power "
                f"{item.exponent:.2f} ± {item.standard_error:.2f}, not with the hours: are they right?",
            )
    ratio = check.dispersion_ratio
    within = 1.0 / LARGEST_SPREAD_RATIO <= ratio <= LARGEST_SPREAD_RATIO
    if not (within or abs(check.dispersion_z) <= CERTAIN_Z):
        yield Verdict(
            SPREAD_NOT_DESCRIBED, f"The returns spread {ratio:.2f} times as far as the fit expects."
        )


def _beside_baselines(validation: Validation) -> Iterator[Verdict]:
    for comparison in validation.comparisons:
        if comparison.method == FIRST_BASELINE and not comparison.deviance.z <= -BETTER_Z:
            yield _no_better(validation, comparison, "no better than", "deviance", comparison.deviance)
        for score, difference in (("deviance", comparison.deviance), ("CRPS", comparison.crps_g)):
            if not difference.z <= WORSE_Z:
                yield _no_better(validation, comparison, "worse than", score, difference)


def _no_better(
    validation: Validation, comparison: Comparison, how: str, score: str, difference: Mean
) -> Verdict:
    return Verdict(
        NO_BETTER,
        f"On {validation.tested} unseen returns the fit forecasts {how} the {comparison.method}: "
        f"its {score} is {difference.value:+.3g} beside it ({difference.z:+.1f} standard errors).",
    )


def _of_intervals(calibration: Calibration) -> Iterator[Verdict]:
    for item in calibration.coverages:
        if not abs(item.found - item.share) <= COVERAGE_TOLERANCE + COVERAGE_Z * item.standard_error:
            yield Verdict(
                INTERVALS_OFF,
                f"{item.found:.0%} of {item.sessions} unseen returns lie inside the intervals that should "
                f"hold {item.share:.0%} of them.",
            )
    blanks = calibration.blanks
    allowed = LARGEST_BLANK_GAP + CERTAIN_Z * (blanks.standard_error or 0.0)
    if not abs(blanks.observed - blanks.expected) <= allowed:
        yield Verdict(
            BLANKS_NOT_DESCRIBED,
            f"{blanks.observed:.0%} of {blanks.sessions} unseen returns are blanks where the fit expects "
            f"{blanks.expected:.0%}.",
        )
