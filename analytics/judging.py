"""New and changed returns held against the fit that serves, before the next fit: what lies far out is asked
about, and is in no fit until somebody has looked."""

import uuid
from datetime import datetime
from typing import Any

import numpy as np
from django.db import transaction

from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fitted import chosen_sessions
from analytics.catchrate.returns import usable_returns
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.tails import predictive_of, two_sided
from analytics.frames import ClubFrame, load_frame
from analytics.rows import unseen_returns
from clubdata.models import Club, Return
from clubdata.rules.plausibility import PREFIX, Question
from clubdata.services import jobs
from clubdata.services.doubts import AGAINST_THE_FIT, raise_doubts

#: A weight with a smaller two-sided tail probability is asked about. Where the fit describes the club's
#: returns, a season of 1,000 of them brings a tenth of a false question: one in ten seasons.
RARE = 1e-4
#: Keys in one update.
CHUNK = 1000

Key = tuple[int, int]


def judge_unseen(*, claim: jobs.Claim, club: Club, estimates: Estimates, now: datetime) -> int:
    """Hold the returns that no fit was held against against these estimates; how many are asked about.

    :raises jobs.LeaseLost: the job is no longer this worker's; nothing is stored.
    """
    # A version that comes after this is judged by the next fit.
    unseen = {
        uid: (pk, version) for uid, pk, version in unseen_returns(club).values_list("uid", "pk", "version")
    }
    if not unseen:
        return 0
    asked = {
        uid: question
        for uid, question in questions_against(estimates, load_frame(club=club, unseen=True)).items()
        if uid in unseen
    }
    with transaction.atomic():
        jobs.hold(claim=claim)
        club.in_turn()
        raised = sum(_ask(unseen[uid], question, now) for uid, question in asked.items())
        _mark([key for uid, key in unseen.items() if uid not in asked])
        if raised:
            club.raise_revision()
    return raised


def questions_against(estimates: Estimates, club_frame: ClubFrame) -> dict[uuid.UUID, Question]:
    """What is asked of which returns of a frame, by their public ids: of each the session that lies furthest
    out, where its tail is smaller than `RARE`. Weights that are not known exactly are not judged."""
    returns = usable_returns(club_frame.frame, CatchSpec())
    returns = chosen_sessions(returns, np.flatnonzero(~returns.bounded))
    if not len(returns.weight_g):
        return {}
    predictive = predictive_of(estimates, returns)
    tail = two_sided(predictive, returns.weight_g, RARE)
    rare = np.flatnonzero(tail < RARE)
    rare = rare[np.argsort(tail[rare], kind="stable")]
    sessions = club_frame.frame["session"].to_numpy()[returns.position[rare]]
    lower, upper = predictive.at(rare).ends() if len(rare) else (rare, rare)
    found: dict[uuid.UUID, Question] = {}
    for place, session in enumerate(sessions):
        uid = club_frame.uid(int(session))
        figures = (
            returns.weight_g[rare[place]],
            predictive.expected_g[rare[place]],
            lower[place],
            upper[place],
        )
        found.setdefault(uid, _question(*(round(float(figure)) for figure in figures)))
    return found


def _question(weight_g: int, expected_g: int, lower_g: int, upper_g: int) -> Question:
    facts: dict[str, Any] = {
        "weight_g": weight_g,
        "expected_g": expected_g,
        "lower_g": lower_g,
        "upper_g": upper_g,
    }
    far = "more" if weight_g > expected_g else "less"
    sentence = (
        f"{PREFIX} {weight_g:,} g is far {far} than the club's returns lead one to expect of such a session, "
        f"given where, when, by whom and how it was fished: {expected_g:,} g, and nine times in ten "
        f"between {lower_g:,} and {upper_g:,} g."
    )
    return Question(AGAINST_THE_FIT, "weight", sentence, facts)


def _ask(key: Key, question: Question, now: datetime) -> int:
    pk, version = key
    if not _mark([key]):
        return 0
    session = Return.objects.get(pk=pk)
    return (
        len(raise_doubts(session=session, questions=[question], now=now)) if session.version == version else 0
    )


def _mark(keys: list[Key]) -> int:
    """Write down that these versions were held against a fit; those that have changed since are left."""
    marked = 0
    for version in sorted({version for _, version in keys}):
        chosen = [pk for pk, of_version in keys if of_version == version]
        for start in range(0, len(chosen), CHUNK):
            rows = Return.objects.filter(pk__in=chosen[start : start + CHUNK], version=version)
            marked += rows.update(looked_at_version=version)
    return marked
