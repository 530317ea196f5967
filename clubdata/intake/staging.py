"""A sheet's rows on their way in: their identity, and the staging rows of one import job."""

import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal
from hashlib import blake2b
from typing import Any, Final

from django.db import connection, models, transaction

from clubdata.models import Job, JobKind, StagedReturn
from clubdata.models.jobs import ENDED
from clubdata.rules.words import fold
from clubdata.services.jobs import Claim, beat, hold

READING: Final = "reading the sheet"


@dataclass(slots=True)
class SheetReturn:
    """A row that may land, column for column as `StagedReturn` keeps it. `uid` becomes the return's."""

    line: int
    uid: uuid.UUID
    sheet_key: str
    member_id: int
    water_id: int
    peg_id: int
    match_code: str
    session_kind: str
    fished_on: date
    hours: Decimal
    outcome: str
    weight_g: int | None
    weight_typed: str
    weight_unit: str
    weight_step: Decimal | None
    notes: str
    hook_bait_id: int | None
    rig_type_id: int | None
    distance_m: Decimal | None
    wind_force: int | None
    water_temperature_c: Decimal | None
    catch_lines: str = ""


_COPIED: Final = tuple(one.name for one in fields(SheetReturn) if one.name != "uid")
_COLUMNS: Final = ("job_id", "uid", *_COPIED)
_TABLE: Final = StagedReturn._meta.db_table
_INTO: Final = f"{_TABLE} ({', '.join(_COLUMNS)})"
_FROM_JSON: Final = (
    f"INSERT INTO {_INTO} SELECT {', '.join(_COLUMNS)}"  # noqa: S608 - own names
    f" FROM json_populate_recordset(NULL::{_TABLE}, %s::json)"
)

# Short transactions: a member's hand-in waits for one of them at most.
_SWEPT_AT_ONCE: Final = 5_000


def sheet_key(
    *, day: date, water_id: int, peg_id: int, member_id: int, session_kind: str, match_code: str
) -> str:
    """The identity of a sheet's row: who fished where and when, in what; 32 hexadecimal digits.

    The weight is no part of it, so that a weight that changed since is told apart from a new session.
    The match code counts folded.
    """
    told = "\x1f".join(
        (day.isoformat(), str(water_id), str(peg_id), str(member_id), session_kind, fold(match_code))
    )
    return blake2b(told.encode(), digest_size=16).hexdigest()


def stage(*, claim: Claim, rows: Sequence[SheetReturn], now: datetime, done: int, total: int) -> None:
    """Commit a chunk of rows together with the job's progress. Raises `LeaseLost`, staging nothing."""
    values = [(claim.job_id, row.uid.hex, *(getattr(row, name) for name in _COPIED)) for row in rows]
    with transaction.atomic():
        beat(claim=claim, now=now, done=done, total=total, step=READING)
        _write(values)


def _write(values: Sequence[tuple[Any, ...]]) -> None:
    # Models would take longer to write a row than the sheet takes to read it.
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # In one message. Of a COPY whose sender stands still the server never lets go, and with it of the
            # job's row: only between two statements does it count the time.
            told = json.dumps([dict(zip(_COLUMNS, row, strict=True)) for row in values], default=str)
            cursor.execute(_FROM_JSON, [told])
        else:
            places = ", ".join(["%s"] * len(_COLUMNS))
            cursor.executemany(f"INSERT INTO {_INTO} VALUES ({places})", values)  # noqa: S608 - own names


def begin_again(*, claim: Claim) -> None:
    """Sweep what an earlier attempt at this job staged. Raises `LeaseLost`."""
    while True:
        with transaction.atomic():
            hold(claim=claim)
            if not _sweep_some(StagedReturn.objects.filter(job_id=claim.job_id)):
                return


def sweep_ended() -> None:
    """Sweep the staging of imports that have ended, however they ended."""
    ended = Job.objects.filter(kind=JobKind.IMPORT, state__in=ENDED)
    while _sweep_some(StagedReturn.objects.filter(job__in=ended)):
        pass


def _sweep_some(rows: models.QuerySet[StagedReturn]) -> int:
    some = list(rows.order_by("pk").values_list("pk", flat=True)[:_SWEPT_AT_ONCE])
    if not some:
        return 0
    # Keys grow as rows are staged; a range keeps the statement short.
    return rows.filter(pk__gte=some[0], pk__lte=some[-1]).delete()[0]
