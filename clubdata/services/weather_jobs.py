"""Jobs that fill in the weather: asked for by a station's file and by the clock, done in small steps."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import Q, QuerySet

from clubdata.models import Club, Job, JobKind, JobState, Outcome, Return
from clubdata.rules.weather import Weather
from clubdata.services import jobs
from clubdata.services.weather import FILLABLE, Provider, fill, lacking, providers_for, span_of

logger = logging.getLogger(__name__)

#: So long after the day a return is still looked at: later its weather is asked for by an upload alone.
LOOKED_BACK: Final = timedelta(days=60)
#: Returns that are filled in one transaction.
AT_ONCE: Final = 50
#: A provider that could not be asked so often is left alone for the rest of the job.
MOST_FAILURES: Final = 3
#: Of a job's result: there is something to be asked once more.
AGAIN: Final = "to_be_asked_again"


def request_weather(*, club: Club, since: datetime, now: datetime) -> Job:
    """Queue the filling of what was fished since then; a job that waits is made to reach back so far."""
    with transaction.atomic():
        waiting = Job.objects.select_for_update().filter(
            club=club, kind=JobKind.WEATHER, state=JobState.QUEUED
        )
        job: Job | None = waiting.first()
        if job is None:
            payload = {"since": since.astimezone(UTC).isoformat()}
            return jobs.request_job(club=club, kind=JobKind.WEATHER, payload=payload, actor=None, now=now)
        if since < datetime.fromisoformat(job.payload["since"]):
            job.payload = {"since": since.astimezone(UTC).isoformat()}
            job.save(update_fields=["payload"])
        return job


def request_weather_everywhere(*, now: datetime) -> list[Job]:
    """Queue it for every club that has somebody to ask and something to ask about."""
    since = now - LOOKED_BACK
    clubs = [club for club in Club.objects.order_by("pk") if providers_for(club)]
    return [request_weather(club=club, since=since, now=now) for club in clubs if _is_due(club, since)]


def _is_due(club: Club, since: datetime) -> bool:
    """Returns that came or changed since the last job, or that it could not ask about."""
    last = Job.objects.filter(club=club, kind=JobKind.WEATHER).order_by("-pk").first()
    wanting = _wanting(club, since)
    if last is not None and last.state == JobState.FINISHED and not last.result.get(AGAIN):
        wanting = wanting.filter(Q(entered_at__gt=last.created_at) | Q(changed_at__gt=last.created_at))
    return wanting.exists()


def _wanting(club: Club, since: datetime) -> QuerySet[Return]:
    fished = Return.objects.filter(club=club, fished_on__gte=since.date() - timedelta(days=1))
    fished = fished.exclude(outcome=Outcome.DID_NOT_FISH)
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
        AGAIN: bool(asked.not_answered or asked.not_over),
    }
    with transaction.atomic():
        jobs.hold(claim=claim)
        jobs.finish(claim=claim, now=clock(), result=result)


def _fill_all(session: Return, found: Sequence[tuple[str, Weather]]) -> bool:
    filled = [fill(session=session, weather=weather, said_by=name) for name, weather in found]
    return any(filled)


@dataclass(slots=True)
class _Asked:
    """Providers in their order, how often each failed, and how many sessions were not told of."""

    providers: Sequence[Provider]
    failures: dict[str, int] = field(default_factory=dict)
    not_answered: int = 0
    not_over: int = 0

    def about(self, session: Return, now: datetime) -> list[tuple[str, Weather]]:
        """What each says until nothing is lacking; nothing of a session that is not over yet."""
        span = span_of(session)
        if span.ends > now:
            self.not_over += 1
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
        self.not_answered += failed
        return found
