"""Jobs that fill in the weather: asked for by a station's file and by the clock, done in small steps."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import Min, Q, QuerySet

from clubdata.models import Club, Job, JobKind, JobState, Outcome, Return
from clubdata.rules.weather import Weather
from clubdata.services import jobs
from clubdata.services.weather import FILLABLE, Provider, fill, lacking, providers_for, span_of

logger = logging.getLogger(__name__)

#: So long after the day a return is still looked at: later its weather is asked for when a station's file
#: comes or the return is amended.
LOOKED_BACK: Final = timedelta(days=60)
#: The last reading that stands for some of a session is of an hour later at most.
LAST_READING: Final = timedelta(hours=1)
#: Returns that are filled in one transaction.
AT_ONCE: Final = 50
#: A provider that could not be asked so often is left alone for the rest of the job.
MOST_FAILURES: Final = 3
#: So often a job asks once more about days before those that are looked back on.
MOST_REPEATS: Final = 24
#: Of a job's result: the first day that is to be asked about once more, in ISO 8601; None for none.
AGAIN: Final = "ask_again_from"


def request_weather(*, club: Club, since: datetime, now: datetime, repeats: int = 0) -> Job:
    """Queue the filling of what was fished since then; a job that waits is made to reach back so far.

    `repeats` tells how often the same days have been asked about in vain.
    """
    payload = {"since": since.astimezone(UTC).isoformat(), "repeats": repeats}
    with transaction.atomic():
        waiting = Job.objects.select_for_update().filter(
            club=club, kind=JobKind.WEATHER, state=JobState.QUEUED
        )
        job: Job | None = waiting.first()
        if job is None:
            return jobs.request_job(club=club, kind=JobKind.WEATHER, payload=payload, actor=None, now=now)
        if since < datetime.fromisoformat(job.payload["since"]):
            job.payload = payload
            job.save(update_fields=["payload"])
        return job


def request_weather_everywhere(*, now: datetime) -> list[Job]:
    """Queue it for every club that has somebody to ask and something to ask about."""
    clubs = [club for club in Club.objects.order_by("pk") if providers_for(club)]
    due = [(club, _due(club, now)) for club in clubs]
    return [
        request_weather(club=club, since=found.since, repeats=found.repeats, now=now)
        for club, found in due
        if found is not None
    ]


@dataclass(frozen=True, slots=True)
class _Due:
    since: datetime
    repeats: int = 0


def _due(club: Club, now: datetime) -> _Due | None:
    """Returns that came or were amended since the last job, and what it could not ask about."""
    looked_back = now - LOOKED_BACK
    last = Job.objects.filter(club=club, kind=JobKind.WEATHER).order_by("-pk").first()
    if last is None:
        return _Due(looked_back) if _wanting(club, looked_back).exists() else None
    came = _wanting(club, looked_back).filter(entered_at__gt=last.created_at)
    amended = _wanting(club).filter(changed_at__gt=last.created_at)
    news = [day for rows in (came, amended) if (day := rows.aggregate(day=Min("fished_on"))["day"])]
    since, repeats = [datetime.combine(day, time(), UTC) for day in news], 0
    left = _left_by(last)
    if left is not None and left < looked_back:
        repeats = last.payload.get("repeats", 0) + 1
        left = looked_back if repeats > MOST_REPEATS else left
    if left is not None and _wanting(club, left).exists():
        since.append(left)
    return _Due(min(since), repeats) if since else None


def _left_by(last: Job) -> datetime | None:
    """From when on a job left something to be asked about once more; all of it where it did not end well."""
    if last.state == JobState.FINISHED:
        again = last.result.get(AGAIN)
        return None if again is None else datetime.combine(date.fromisoformat(again), time(), UTC)
    is_on = last.state in {JobState.QUEUED, JobState.RUNNING}
    return None if is_on else datetime.fromisoformat(last.payload["since"])


def _wanting(club: Club, since: datetime | None = None) -> QuerySet[Return]:
    """The returns of which something can be filled; since None all of them."""
    fished = Return.objects.filter(club=club).exclude(outcome=Outcome.DID_NOT_FISH)
    if since is not None:
        fished = fished.filter(fished_on__gte=since.date() - timedelta(days=1))
    lacking = Q()
    for name in FILLABLE:
        lacking |= Q(**{f"conditions__{name}__isnull": True})
    return fished.filter(lacking).select_related("water__club", "conditions").order_by("-fished_on", "-pk")


def run_weather(*, claim: jobs.Claim, clock: Callable[[], datetime]) -> None:
    """A weather job, from the claim to its end. Every step of it stands, whatever becomes of the rest.

    :raises jobs.LeaseLost: the job is no longer this worker's; the step under way is not stored.
    """
    job = Job.objects.select_related("club").get(pk=claim.job_id)
    keys = list(_wanting(job.club, datetime.fromisoformat(job.payload["since"])).values_list("pk", flat=True))
    asked = _Asked(providers_for(job.club))
    filled = 0
    for start in range(0, len(keys), AT_ONCE):
        jobs.beat(claim=claim, now=clock(), done=start, total=len(keys), step="asking")
        chosen = Return.objects.filter(pk__in=keys[start : start + AT_ONCE])
        sessions = list(chosen.select_related("water__club", "conditions").order_by("-fished_on", "-pk"))
        told = [(session, asked.about(session, clock())) for session in sessions]
        with transaction.atomic():
            jobs.hold(claim=claim)
            news = sum(_fill_all(session, found) for session, found in told)
            if news:
                job.club.raise_revision()
        filled += news
    result: dict[str, Any] = {
        "looked_at": len(keys),
        "filled": filled,
        "not_answered": asked.not_answered,
        AGAIN: None if asked.again_from is None else asked.again_from.isoformat(),
    }
    with transaction.atomic():
        jobs.hold(claim=claim)
        jobs.finish(claim=claim, now=clock(), result=result)


def _fill_all(session: Return, found: Sequence[tuple[str, Weather]]) -> bool:
    filled = [fill(session=session, weather=weather, said_by=name) for name, weather in found]
    return any(filled)


@dataclass(slots=True)
class _Asked:
    """Providers in their order, how often each failed, how many sessions were not told of, and the first."""

    providers: Sequence[Provider]
    failures: dict[str, int] = field(default_factory=dict)
    not_answered: int = 0
    again_from: date | None = None

    def about(self, session: Return, now: datetime) -> list[tuple[str, Weather]]:
        """What each says until nothing is lacking; nothing of a session that is not over yet."""
        span = span_of(session)
        if span.ends + LAST_READING > now:
            self._ask_again(session)
            return []
        wanted = lacking(getattr(session, "conditions", None))
        found: list[tuple[str, Weather]] = []
        failed = False
        for provider in self.providers:
            if not wanted or self.failures.get(provider.name, 0) >= MOST_FAILURES:
                failed = failed or bool(wanted)
                continue
            try:
                weather = provider.weather(span)
            except (OSError, ValueError) as fault:
                logger.warning("weather not told: %s", type(fault).__name__)
                self.failures[provider.name] = self.failures.get(provider.name, 0) + 1
                failed = True
                continue
            if weather is not None:
                found.append((provider.name, weather))
                wanted -= {name for name in wanted if getattr(weather, name) is not None}
        if failed:
            self.not_answered += 1
            self._ask_again(session)
        return found

    def _ask_again(self, session: Return) -> None:
        day = session.fished_on
        self.again_from = day if self.again_from is None else min(day, self.again_from)
