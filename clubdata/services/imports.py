"""Landing: the staged rows of one import become returns, all of them or none.

Five statements over sets, all but the last the same on PostgreSQL and SQLite; they run inside the
caller's transaction, which holds the job.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import connection

from clubdata.models import Club, Job, Source, StagedReturn

_CACHE_KIB = 8 * 1024

# A random (version 4) UUID made by the database, as Django stores it there.
_NEW_UID = {
    "postgresql": "gen_random_uuid()",
    "sqlite": "lower(hex(randomblob(6)) || '4' || substr(hex(randomblob(2)), 2) "
    "|| 'a' || substr(hex(randomblob(2)), 2) || hex(randomblob(6)))",
}

_MATCHES = """
INSERT INTO clubdata_match (uid, club_id, code, water_id, held_on, title)
SELECT {new_uid}, %(club)s, first.match_code, first.water_id, first.fished_on, ''
FROM (
    SELECT DISTINCT match_code, water_id, fished_on FROM clubdata_stagedreturn
    WHERE job_id = %(job)s AND match_code <> ''
) AS first
WHERE true
ON CONFLICT (club_id, code) DO NOTHING
"""

# A code that meanwhile came to stand for another day joins nothing: the return lands without a match.
_RETURNS = """
INSERT INTO clubdata_return (
    uid, club_id, member_id, water_id, peg_id, match_id, session_kind, fished_on, hours, rods, outcome,
    weight_g, weight_typed, weight_unit, weight_step, notes, source, sheet_key, entered_by_id, entered_at
)
SELECT
    staged.uid, %(club)s, staged.member_id, staged.water_id, staged.peg_id, held.id, staged.session_kind,
    staged.fished_on, staged.hours, 1, staged.outcome, staged.weight_g, staged.weight_typed,
    staged.weight_unit, staged.weight_step, staged.notes, %(source)s, staged.sheet_key, %(actor)s, %(now)s
FROM clubdata_stagedreturn AS staged
LEFT JOIN clubdata_match AS held
    ON held.club_id = %(club)s AND held.code = staged.match_code
    AND held.water_id = staged.water_id AND held.held_on = staged.fished_on
WHERE staged.job_id = %(job)s
ORDER BY staged.line
ON CONFLICT (club_id, sheet_key) WHERE sheet_key IS NOT NULL DO NOTHING
"""

_PARTS = """
INSERT INTO clubdata_sessionpart (
    uid, club_id, session_id, part_order, hook_bait_id, rig_type_id, distance_m
)
SELECT {new_uid}, %(club)s, landed.id, 1, staged.hook_bait_id, staged.rig_type_id, staged.distance_m
FROM clubdata_stagedreturn AS staged
JOIN clubdata_return AS landed ON landed.uid = staged.uid
WHERE staged.job_id = %(job)s
"""

_CONDITIONS = """
INSERT INTO clubdata_conditions (
    uid, club_id, session_id, wind_force, water_temperature_c, tow, filled, filled_from
)
SELECT {new_uid}, %(club)s, landed.id, staged.wind_force, staged.water_temperature_c, '', '[]', ''
FROM clubdata_stagedreturn AS staged
JOIN clubdata_return AS landed ON landed.uid = staged.uid
WHERE staged.job_id = %(job)s
    AND (staged.wind_force IS NOT NULL OR staged.water_temperature_c IS NOT NULL)
"""

_CATCH_LINES = {
    "postgresql": """
INSERT INTO clubdata_catchline (uid, club_id, session_id, species_id, weight_g, lost_count)
SELECT {new_uid}, %(club)s, landed.id, (line.pair->>0)::bigint, (line.pair->>1)::integer, 0
FROM clubdata_stagedreturn AS staged
JOIN clubdata_return AS landed ON landed.uid = staged.uid
CROSS JOIN LATERAL jsonb_array_elements(NULLIF(staged.catch_lines, '')::jsonb) AS line(pair)
WHERE staged.job_id = %(job)s
""",
    "sqlite": """
INSERT INTO clubdata_catchline (uid, club_id, session_id, species_id, weight_g, lost_count)
SELECT {new_uid}, %(club)s, landed.id, json_extract(line.value, '$[0]'), json_extract(line.value, '$[1]'), 0
FROM clubdata_stagedreturn AS staged
JOIN clubdata_return AS landed ON landed.uid = staged.uid
JOIN json_each(NULLIF(staged.catch_lines, '')) AS line
WHERE staged.job_id = %(job)s
""",
}

_LATE = """
SELECT
    staged.line, staged.weight_typed, staged.outcome, staged.weight_g, staged.hours,
    earlier.outcome, earlier.weight_g, earlier.hours
FROM clubdata_stagedreturn AS staged
LEFT JOIN clubdata_return AS landed ON landed.uid = staged.uid
JOIN clubdata_return AS earlier ON earlier.club_id = %(club)s AND earlier.sheet_key = staged.sheet_key
WHERE staged.job_id = %(job)s AND landed.id IS NULL
ORDER BY staged.line
"""


@dataclass(frozen=True, slots=True)
class Late:
    """A staged row that another import landed first, and what is recorded."""

    line: int
    weight_typed: str
    outcome: str
    weight_g: int | None
    hours: Decimal | None
    recorded_outcome: str
    recorded_weight_g: int | None
    recorded_hours: Decimal | None


def land(*, job: Job, club: Club, actor_id: int | None, now: datetime) -> Sequence[Late]:
    """Land everything that is staged for `job`; the rows that another import landed meanwhile.

    Matches, returns, parts, conditions and catch lines; the club's revision grows when anything landed.
    """
    values = {
        "club": club.pk,
        "job": job.pk,
        "actor": actor_id,
        "source": Source.SHEET.value,
        "now": connection.ops.adapt_datetimefield_value(now),
    }
    staged = StagedReturn.objects.filter(job=job).count()
    if not staged:
        return []
    with _room_to_index():
        _run(_MATCHES, values)
        landed = _run(_RETURNS, values)
        _run(_PARTS, values)
        _run(_CONDITIONS, values)
        if StagedReturn.objects.filter(job=job).exclude(catch_lines="").exists():
            _run(_CATCH_LINES[connection.vendor], values)
    late = _late(values) if landed < staged else []
    if connection.vendor == "postgresql":
        # Every hand-in waits for the club's row: the deferred keys are checked before it is taken.
        connection.check_constraints()
    if landed:
        club.raise_revision()
    return late


@contextmanager
def _room_to_index() -> Iterator[None]:
    """A larger page cache while SQLite fills its indexes: its own holds a fraction of them and thrashes."""
    if connection.vendor != "sqlite":
        yield
        return
    with connection.cursor() as cursor:
        (before,) = cursor.execute("PRAGMA cache_size").fetchone()
        cursor.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")
        try:
            yield
        finally:
            cursor.execute(f"PRAGMA cache_size = {int(before)}")


def _run(statement: str, values: dict[str, Any]) -> int:
    """How many rows the statement inserted."""
    with connection.cursor() as cursor:
        cursor.execute(statement.format(new_uid=_NEW_UID[connection.vendor]), values)
        return int(cursor.rowcount)


def _late(values: dict[str, Any]) -> list[Late]:
    with connection.cursor() as cursor:
        cursor.execute(_LATE, values)
        return [
            Late(line, typed, outcome, weight_g, _hours(hours), recorded, recorded_g, _hours(recorded_hours))
            for line, typed, outcome, weight_g, hours, recorded, recorded_g, recorded_hours in cursor
        ]


def _hours(stored: Any) -> Decimal | None:
    """SQLite keeps a decimal as a number, which is shown with the digits that were stored."""
    return None if stored is None else Decimal(str(stored))
