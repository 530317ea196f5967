"""Log lines as JSON: what happened, with request, job and club ids; never a name, a note or a token."""

import json
import logging
import traceback
from datetime import UTC, datetime
from typing import Any

IDS = ("request_id", "job_uid", "run_uid", "club", "method", "route", "status", "duration_ms")


def _where(raised: Any) -> dict[str, object]:
    """The exception's type and frames. Not its words: a database quotes the values of the row at fault."""
    kind, _, trace = raised
    frames = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in traceback.extract_tb(trace)]
    return {"type": kind.__name__ if kind else "", "frames": frames[-20:]}


class JsonFormatter(logging.Formatter):
    """One JSON object a line; only the ids of `IDS` are taken from the record's extras."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        line.update({name: value for name in IDS if (value := getattr(record, name, None)) is not None})
        if record.exc_info:
            line["exception"] = _where(record.exc_info)
        return json.dumps(line, default=str)
