"""Why there is no advice: a stable code, a sentence, and how many returns would have done."""

from collections.abc import Mapping
from dataclasses import dataclass

from analytics.answers.question import AdviceQuestion
from analytics.answers.support import LEAST_RETURNS
from analytics.enough import LEAST_CAUGHT
from analytics.enough import LEAST_RETURNS as LEAST_OF_TARGET
from clubdata.models import Club, Return


@dataclass(frozen=True, slots=True)
class NoAdvice:
    """Why there are no choices: a stable code, a sentence, and how many returns would have done."""

    code: str
    reason: str
    needed: int | None = None


def no_run(*, club: Club, target: str) -> NoAdvice:
    """No fit has come out, of everything or of a group of species."""
    if not target:
        return NoAdvice("no_fit", "No fit of the club's returns has come out yet.")
    of_group = Return.objects.filter(club=club, catch_lines__species__group=target).distinct().count()
    named = f"{of_group:,}" if of_group else "none"
    reason = (
        f"Nothing has been worked out for {target} alone: it takes {LEAST_OF_TARGET} returns that tell the "
        f"whole catch by species, {LEAST_CAUGHT} of them with {target}; the club has {named} "
        "with any. Without a target the advice is for everything caught."
    )
    return NoAdvice("no_fit_of_target", reason, LEAST_OF_TARGET)


def too_few(*, water: str, returns: int, needed: int) -> NoAdvice:
    """The water itself was hardly fished."""
    reason = f"Only {returns} returns from {water}; {needed} are needed."
    return NoAdvice("too_few_returns_on_water", reason, needed)


def nothing_offered(question: AdviceQuestion, *, returns: int, methods: Mapping[str, int]) -> NoAdvice:
    """No bait has returns enough within the limits, or at all at this time of the year.

    `returns` are the water's, `methods` those of them that record one.
    """
    if question.methods is not None and not methods:
        reason = "The returns of this water do not say by which method they were caught: ask without one."
        return NoAdvice("no_method_recorded", reason)
    limited = (question.baits, question.rig_types, question.methods, question.longest_pole_m)
    if any(limit is not None for limit in limited):
        reason = (
            f"Within these limits no bait has {LEAST_RETURNS} returns of this water at this time of the year "
            "and near any distance: widen the baits, the rig types, the methods or the reach."
        )
        return NoAdvice("nothing_within_limits", reason, LEAST_RETURNS)
    reason = (
        f"No bait has {LEAST_RETURNS} returns of this water ({returns} in all) at this time of the "
        "year that record it."
    )
    return NoAdvice("no_bait_recorded", reason, LEAST_RETURNS)
