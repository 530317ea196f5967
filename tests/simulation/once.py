"""The same invented club fitted once a test session: its records get the same public ids each time.

A fit is a function of the rows and the seed that their fingerprint gives; what it comes to is kept under the
fingerprint and stored anew for each test. Tests of the fitting itself do without.
"""

import random
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

from django.apps import apps
from django.db import models

from analytics import runs
from analytics.catchrate.spec import CatchSpec
from analytics.frames import ClubFrame

_kept: dict[tuple[str, Any, bool], Any] = {}


@contextmanager
def steady_ids(seed: str) -> Iterator[None]:
    """Within it, new records draw their public ids from the seed."""
    draw = random.Random(seed)

    def drawn() -> uuid.UUID:
        return uuid.UUID(int=draw.getrandbits(128), version=4)

    with ExitStack() as stack:
        for model in apps.get_models():
            for field in model._meta.local_fields:
                if isinstance(field, models.UUIDField) and field.default is uuid.uuid4:
                    stack.enter_context(patch.object(field, "_get_default", drawn))
        yield


@contextmanager
def fitted_once() -> Iterator[None]:
    """Within it, a fit from nothing of rows that were fitted before comes to what it came to then."""
    fit, judge = runs.checked_fit, runs.judged

    def checked_fit(club_frame: ClubFrame, spec: CatchSpec, earlier: Any, tell: Any) -> Any:
        key = (club_frame.fingerprint, spec, False)
        if earlier is not None:
            return fit(club_frame, spec, earlier, tell)
        if key not in _kept:
            _kept[key] = fit(club_frame, spec, None, tell)
        return _kept[key]

    def judged(found: Any, club_frame: ClubFrame, spec: CatchSpec) -> Any:
        key = (club_frame.fingerprint, spec, True)
        if found is not _kept.get((club_frame.fingerprint, spec, False)):
            return judge(found, club_frame, spec)
        if key not in _kept:
            _kept[key] = judge(found, club_frame, spec)
        return _kept[key]

    with patch.object(runs, "checked_fit", checked_fit), patch.object(runs, "judged", judged):
        yield
