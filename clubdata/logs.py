"""Log lines as JSON: what happened, with request, job and club ids; never a name, a note or a token."""

import json
import logging
from datetime import UTC, datetime

IDS = ("request_id", "job_uid", "club", "method", "route", "status", "duration_ms")


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
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str)
