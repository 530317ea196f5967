"""The fit: frame and frozen spec in, frozen estimates or a refusal out."""

from collections.abc import Callable

import pandas as pd

from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.spec import CatchSpec

Progress = Callable[[int, int, str], None]


def fit_catch(
    frame: pd.DataFrame, spec: CatchSpec | None = None, progress: Progress | None = None
) -> Estimates | Refusal:
    """Fit the catch model to a club's returns, one row each."""
    raise NotImplementedError
