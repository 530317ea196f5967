"""What is taken for a weight that nobody knows, and what that changes: the fit made all three ways."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.spec import CatchSpec, DidNotWeigh


@dataclass(frozen=True, slots=True)
class Change:
    """One effect, natural-log scale, as the spec has it and the other way.

    `standard_errors` is the difference in standard errors of the first.
    """

    term: str
    level: str
    estimate: float
    other: float
    standard_errors: float


@dataclass(frozen=True, slots=True)
class OtherWay:
    """What one other way changes: the intercept, and of pegs and of hook baits the effect it moves most.

    None where the model lacks the term, `refusal` where there is no fit.
    """

    did_not_weigh: str
    intercept: Change | None
    peg: Change | None
    hook_bait: Change | None
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class DidNotWeighComparison:
    """The spec's own way, the number of sessions that did not weigh, and the two other ways beside it."""

    did_not_weigh: str
    sessions: int
    others: tuple[OtherWay, ...]


def compare_did_not_weigh(
    frame: pd.DataFrame, spec: CatchSpec | None = None
) -> DidNotWeighComparison | Refusal:
    """Fit the spec and the two other ways, each from the fit before it, and say what changes.

    Refused where the spec's own fit is, or where every session was weighed.

    :raises KeyError: a column is missing from the frame.
    """
    spec = spec or CatchSpec()
    sessions = _sessions(frame)
    if not sessions:
        return Refusal("nothing_to_compare", "no session did not weigh", 1)
    own = fit_catch(frame, spec)
    if isinstance(own, Refusal):
        return own
    others, latest = [], own
    for way in DidNotWeigh:
        if way is spec.did_not_weigh:
            continue
        found = fit_catch(frame, replace(spec, did_not_weigh=way), warm=latest)
        if isinstance(found, Refusal):
            others.append(OtherWay(way.value, None, None, None, found))
            continue
        others.append(_compared(own, found))
        latest = found
    return DidNotWeighComparison(spec.did_not_weigh.value, sessions, tuple(others))


def _sessions(frame: pd.DataFrame) -> int:
    """How many sessions did not weigh; the rows of one session's parts count once."""
    unweighed = frame[frame["outcome"] == "did_not_weigh"]
    return int(unweighed["session"].nunique()) if "session" in frame else len(unweighed)


def _compared(own: Estimates, other: Estimates) -> OtherWay:
    moved = (other.intercept - own.intercept) / own.intercept_se
    return OtherWay(
        did_not_weigh=other.did_not_weigh,
        intercept=Change("intercept", "", own.intercept, other.intercept, moved),
        peg=_largest_change(own, other, "peg"),
        hook_bait=_largest_change(own, other, "hook_bait"),
    )


def _largest_change(own: Estimates, other: Estimates, name: str) -> Change | None:
    """Of the levels that both fits know."""
    before, after = own.term(name), other.term(name)
    if before is None or after is None:
        return None
    known = after.effects()
    effects = [(level, *effect) for level, effect in before.effects().items() if level in known]
    moved = np.array([(known[level][0] - value) / error for level, value, error in effects])
    if not len(moved):
        return None
    largest = int(np.argmax(np.abs(moved)))
    level, value, _ = effects[largest]
    return Change(name, level, value, known[level][0], float(moved[largest]))
