"""The rule by which a fit is served, in words; its numbers are those that the rule itself uses."""

from analytics.catchrate.verdict import (
    BETTER_Z,
    CERTAIN_Z,
    COVERAGE_TOLERANCE,
    COVERAGE_Z,
    FIRST_BASELINE,
    LARGEST_BLANK_GAP,
    LARGEST_EFFORT_GAP,
    LARGEST_SPREAD_RATIO,
    WORSE_Z,
)


def rule_in_words() -> tuple[str, ...]:
    """One sentence a clause."""
    low, high = 1.0 - LARGEST_EFFORT_GAP, 1.0 + LARGEST_EFFORT_GAP
    spread = f"{1.0 / LARGEST_SPREAD_RATIO:g} and {LARGEST_SPREAD_RATIO:g}"
    blanks = f"{100 * LARGEST_BLANK_GAP:.0f}"
    return (
        "Against its own returns: it explains more than each water's mean rate does; the share of blanks "
        f"lies within {blanks} percentage points of that found; the returns spread between {spread} times as "
        f"far as it expects; and the catch goes with hours to a power between {low:g} and {high:g}. The last "
        f"two count only where they are off by more than {CERTAIN_Z:g} standard errors too.",
        "On unseen days: fitted to the first four fifths of the days, it forecasts the returns of the rest. "
        f"Its deviance is lower than that of the {FIRST_BASELINE} by at least {BETTER_Z:g} standard errors, "
        "and neither its deviance nor its CRPS is higher than that of any of three baselines by more than "
        f"{WORSE_Z:g} standard errors. Returns of one day count as alike.",
        "And its intervals hold: of the unseen returns, the share inside each interval of 10 to 90 % is "
        f"within {100 * COVERAGE_TOLERANCE:.0f} percentage points and {COVERAGE_Z:g} standard errors of what "
        f"it says, and that of blanks within {blanks} percentage points and {CERTAIN_Z:g} standard errors.",
        "A fit with too few unseen returns to tell is served, and says so. A fit that fails is kept, not "
        "served, and the last good one goes on serving.",
    )
