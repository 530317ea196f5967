"""The routes of the published document, and a club with one of everything to ask them about."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid4

from drf_spectacular.generators import SchemaGenerator

from clubdata.models import (
    Amendment,
    AmendmentKind,
    AmendmentState,
    Attendance,
    Conditions,
    Doubt,
    Invitation,
    Job,
    JobKind,
    Return,
    SessionKind,
    WaterEvent,
)
from tests.factories import NOW, SmallClub, make_match, make_return

SCHEMA: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
# What a route cannot do without.
_PLANNED = {"peg": "3", "month": "3"}
REQUIRED = {
    "advice_read": {"month": "3"},
    "peg_form_pair_read": {"first": "1", "second": "2"},
    **dict.fromkeys(("plan_read", "plan_page", "plan_rig_drawing", "plan_next"), _PLANNED),
}
# A body that each of these takes, so that what is asked about is looked for.
_WHY = {"reason": "misread"}
SENT: dict[str, dict[str, Any]] = {
    **dict.fromkeys(
        (
            "returns_amend",
            "returns_remove",
            "returns_restore",
            "amendments_approve",
            "amendments_decline",
            "doubts_take",
            "doubts_hold",
        ),
        _WHY,
    ),
    "members_set_roles": {"roles": []},
    "members_erase": {"ground": "asked"},
}


# Whoever calls these has no key yet.
OPEN = {"sign_in", "invitations_accept"}


@dataclass(frozen=True)
class Operation:
    """One method of one path of the document."""

    method: str
    path: str
    description: dict[str, Any]

    def __str__(self) -> str:
        return f"{self.method} {self.path}"

    @property
    def query(self) -> dict[str, str]:
        return REQUIRED.get(self.description["operationId"], {})

    @property
    def needs_a_key(self) -> bool:
        return self.description["operationId"] not in OPEN

    @property
    def is_of_a_club(self) -> bool:
        return "{slug}" in self.path


def operations(schema: dict[str, Any]) -> Iterator[Operation]:
    for path, methods in schema["paths"].items():
        for method, description in methods.items():
            yield Operation(method.upper(), path, description)


@dataclass(frozen=True)
class StockedClub:
    """A small club in which every route has something to show."""

    small: SmallClub
    session: Return
    job: Job
    fit: Job

    def address(self, path: str, *, absent: bool = False) -> str:
        """The path with this club's own ids, or with ids that nothing has."""
        uid: UUID = uuid4()
        if not absent:
            noun = path.rsplit("{slug}/", maxsplit=1)[-1].split("/", maxsplit=1)[0]
            owners = {
                "waters": self.small.mere,
                "returns": self.session,
                "jobs": self.job,
                "fits": self.fit,
                "matches": self.session.match,
                "amendments": self.session.amendments.first(),
                "doubts": self.session.doubts.first(),
                "members": self.small.member,
                "invitations": self.small.member.invitations.first(),
            }
            uid = owners[noun].uid if noun in owners else uid
        # Every club has the standard's rules.
        rule = "no-such-rule" if absent else "hook-16"
        found = path.replace("{slug}", self.small.club.slug).replace("{uid}", str(uid))
        return found.replace("{name}", rule)


def stock(small: SmallClub) -> StockedClub:
    match = make_match(small.mere, "M-1", held_on=date(2024, 5, 1))
    session = make_return(
        small.member,
        small.pegs["5"],
        session_kind=SessionKind.MATCH,
        match=match,
        notes="by the reeds",
        part={"hook_bait": small.caster, "rig_type": small.tapered, "distance_m": "11.5"},
    )
    Conditions.objects.create(club=small.club, session=session, wind_force=3, water_temperature_c="9.5")
    Amendment.objects.create(
        club=small.club,
        session=session,
        kind=AmendmentKind.REMOVAL,
        state=AmendmentState.AWAITING,
        reason="entered twice",
        version_before=1,
        asked_by=small.account("organiser"),
        asked_at=NOW,
    )
    Doubt.objects.create(
        club=small.club,
        session=session,
        version=session.version,
        code="more_rods_than_allowed",
        field="rods",
        sentence="Please check the figure: 3 rods are given; this water's rules allow 2.",
        facts={"rods": 3, "most_rods": 2},
        raised_at=NOW,
    )
    Invitation.objects.create(
        club=small.club,
        member=small.member,
        digest=hashlib.sha256(small.club.slug.encode()).hexdigest(),
        created_at=NOW,
        expires_at=NOW + timedelta(days=7),
    )
    Attendance.objects.create(
        club=small.club,
        member=small.other_member,
        water=small.mere,
        fished_on=date(2024, 5, 1),
        source="bailiff",
        noted_at=NOW,
    )
    WaterEvent.objects.create(club=small.club, water=small.mere, kind="works", started_on=date(2023, 1, 1))
    job = Job.objects.create(
        club=small.club,
        kind=JobKind.IMPORT,
        state="finished",
        created_at=NOW,
        finished_at=NOW + timedelta(minutes=1),
        payload={"path": "kept.csv", "file_name": "book.csv"},
        result={"rows_read": 3, "problems": []},
    )
    fit = Job.objects.create(club=small.club, kind=JobKind.FIT, created_at=NOW)
    return StockedClub(small, session, job, fit)


OPERATIONS = list(operations(SCHEMA))
READS = [operation for operation in OPERATIONS if operation.method == "GET"]
OF_A_CLUB = [operation for operation in OPERATIONS if operation.is_of_a_club]
