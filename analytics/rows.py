"""A club's returns as they are stored, one row a part, by either of two ways to the same table.

One query set says what is read. PostgreSQL writes its result as text in a single COPY, which pyarrow parses
block by block; every other database hands the rows over one at a time. Keys stay inside: they are the
integers of the tables, and `analytics.frames` turns them into public ids.
"""

import binascii
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv
from django.db import connection
from django.db.models import Case, CharField, F, OuterRef, Subquery, Sum, Value, When

from clubdata.models import CatchLine, Club, Outcome, Return
from clubdata.services.doubts import doubted_returns

#: Instead of the outcome of a return with a figure that somebody has yet to look at.
WAITS = "waits_to_be_looked_at"

_UID_AS_TEXT = pa.binary(36)
_WORD = pa.dictionary(pa.int32(), pa.string())

_UID = "uid"
#: Name in the table, path from a return, and type.
_SOURCES: dict[str, tuple[str, pa.DataType]] = {
    "fished_on": ("fished_on", pa.date32()),
    "session_kind": ("session_kind", _WORD),
    "outcome": ("stands_as", _WORD),
    "water": ("water_id", pa.int64()),
    "peg": ("peg_id", pa.int64()),
    "angler": ("angler_id", pa.int64()),
    "match_day": ("match_id", pa.int64()),
    "hook_bait": ("parts__hook_bait_id", pa.int64()),
    "rig_type": ("parts__rig_type_id", pa.int64()),
    "method": ("parts__method_id", pa.int64()),
    "rods": ("rods", pa.int16()),
    "hours": ("hours", pa.float64()),
    "weight_g": ("weight_g", pa.int32()),
    "caught_g": ("caught_g", pa.int64()),
    "part_order": ("parts__part_order", pa.int16()),
    "part_hours": ("parts__hours", pa.float64()),
    "part_weight_g": ("parts__weight_g", pa.int32()),
    "distance_m": ("parts__distance_m", pa.float64()),
    "wind_force": ("conditions__wind_force", pa.int16()),
    "water_temperature_c": ("conditions__water_temperature_c", pa.float64()),
}

#: Parsed at a time: little enough that the server goes on writing meanwhile.
_BLOCK_BYTES = 1024 * 1024


def read_rows(*, club: Club, unseen: bool = False) -> pa.Table:
    """Every part of every return of the club, in no order; a return without parts is one row.

    Columns: uid_high, uid_low (uint64, the halves of the return's public id), and the names of `_SOURCES`:
    keys as int64, numbers, dates, dictionaries of words; null where not recorded. `caught_g` is what the
    catch lines of a counted return weigh together, as far as they were weighed. The outcome of a return with
    an open doubt is `WAITS`. `unseen` reads the returns alone that no fit was held against as they stand now,
    those with a doubt as what they say.
    """
    read = copied_rows if connection.vendor == "postgresql" else fetched_rows
    return read(club=club, unseen=unseen)


def copied_rows(*, club: Club, unseen: bool = False) -> pa.Table:
    """The rows by PostgreSQL's COPY; the connection must be to PostgreSQL."""
    query, parameters = _query(club, unseen).query.sql_with_params()
    operations: Any = connection.ops
    statement = f"COPY ({operations.compose_sql(query, parameters)}) TO STDOUT"
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        tables = [_parsed(block) for block in _blocks(copy)]
    return pa.concat_tables(tables or [_parsed(bytearray())])


def fetched_rows(*, club: Club, unseen: bool = False) -> pa.Table:
    """The rows by the query set itself, on any database."""
    rows = list(_query(club, unseen).iterator(chunk_size=5000))
    uids, *columns = zip(*rows, strict=True) if rows else [()] * (1 + len(_SOURCES))
    packed = b"".join(uid.bytes for uid in uids)
    arrays = [_array(column, kind) for column, (_, kind) in zip(columns, _SOURCES.values(), strict=True)]
    return _with_uid(packed, arrays)


def unseen_returns(club: Club) -> Any:
    """The returns whose present version was not yet held against a fit."""
    return Return.objects.filter(club=club, looked_at_version__lt=F("version")).order_by()


def _query(club: Club, unseen: bool) -> Any:
    lines = CatchLine.objects.filter(session=OuterRef("pk")).values("session")
    caught = Subquery(lines.annotate(total=Sum("weight_g")).values("total"))
    returns = unseen_returns(club) if unseen else Return.objects.filter(club=club).order_by()
    waits = [] if unseen else [When(pk__in=doubted_returns(club.pk), then=Value(WAITS))]
    counted = returns.annotate(
        stands_as=Case(*waits, default=F("outcome"), output_field=CharField()),
        caught_g=Case(When(outcome=Outcome.COUNTED_ONLY, then=caught)),
        # A guest is nobody that the club knows: an angler of whom nothing else is recorded.
        angler_id=Case(When(guest=False, then="member_id")),
    )
    return counted.values_list(_UID, *(F(path) for path, _ in _SOURCES.values()))


def _array(column: Any, kind: pa.DataType) -> pa.Array:
    if pa.types.is_floating(kind):
        column = [None if value is None else float(value) for value in column]
    return pa.array(column, pa.string()).cast(kind) if kind == _WORD else pa.array(column, kind)


def _blocks(copy: Iterable[bytes]) -> Iterator[bytearray]:
    """Whole lines of the copied text, some megabytes at a time."""
    block = bytearray()
    for line in copy:
        # Copied at once: a list of a block's lines costs three times as much.
        block += line
        if len(block) >= _BLOCK_BYTES:
            yield block
            block = bytearray()
    if block:
        yield block


def _parsed(block: bytearray) -> pa.Table:
    names = [_UID, *_SOURCES]
    types = [_UID_AS_TEXT, *(kind for _, kind in _SOURCES.values())]
    if not block:
        return _with_uid(b"", [pa.array([], kind) for kind in types[1:]])
    table = pa_csv.read_csv(
        pa.BufferReader(pa.py_buffer(block)),
        read_options=pa_csv.ReadOptions(column_names=names, block_size=2 * _BLOCK_BYTES, use_threads=False),
        parse_options=pa_csv.ParseOptions(delimiter="\t", quote_char=False),
        convert_options=pa_csv.ConvertOptions(
            column_types=dict(zip(names, types, strict=True)), null_values=["\\N"], strings_can_be_null=True
        ),
    )
    return _with_uid(_packed(table[_UID].combine_chunks()), [table[name] for name in _SOURCES])


def _packed(uids: pa.Array) -> bytes:
    """Sixteen bytes a uid from its text, which has dashes at four fixed places."""
    text = np.frombuffer(uids.buffers()[1], np.uint8, 36 * len(uids), 36 * uids.offset).reshape(-1, 36)
    without_dashes = np.delete(text, (8, 13, 18, 23), axis=1)
    return binascii.unhexlify(without_dashes.tobytes())


def _with_uid(packed: bytes, columns: list[Any]) -> pa.Table:
    halves = np.frombuffer(packed, ">u8").reshape(-1, 2).astype(np.uint64)
    high, low = (pa.array(np.ascontiguousarray(halves[:, half])) for half in (0, 1))
    return pa.table([high, low, *columns], names=["uid_high", "uid_low", *_SOURCES])
