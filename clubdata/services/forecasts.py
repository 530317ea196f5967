"""An open forecast service, asked over HTTP: off unless `CLUBDATA_FORECAST_URL` names one.

The service is asked with `latitude`, `longitude`, `start_date`, `end_date`, `timezone=UTC` and the names of
hourly values; it answers JSON whose `hourly` object has `time` and an array of each of those names. Nothing
of a member, a return or a club is sent: a place to a tenth of a degree, and days.
"""

import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode, urlsplit

from clubdata.rules.weather import PLAUSIBLE, Reading, Weather, weather_of

if TYPE_CHECKING:
    from clubdata.services.weather import Span

#: For each piece of an answer, and for the whole of it.
TIME_OUT_S: Final = 5.0
WHOLE_ANSWER_S: Final = 15.0
LARGEST_ANSWER_BYTES: Final = 512 * 1024
_LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")
#: Names of hourly values in the service's answer, and ours.
_HOURLY: Final = {
    "temperature_2m": "air_temperature_c",
    "wind_speed_10m": "wind_m_s",
    "wind_direction_10m": "wind_from_degrees",
    "cloud_cover": "cloud_oktas",
    "pressure_msl": "pressure_hpa",
    "precipitation": "rain_mm",
}
_MILES: Final = dict.fromkeys(("mph", "mp/h"), 0.44704)
_KNOTS: Final = dict.fromkeys(("kn", "kt", "kts", "knots"), 1852 / 3600)
#: What an answer may name as the unit of a value, and what turns it into ours; the first is what we ask for.
_UNITS: Final = {
    "wind_m_s": {"m/s": 1.0, "ms": 1.0, "km/h": 1 / 3.6, "kmh": 1 / 3.6, **_MILES, **_KNOTS},
    "cloud_oktas": {"%": 8.0 / 100.0},
    "air_temperature_c": {"°C": 1.0},
    "wind_from_degrees": {"°": 1.0},
    "pressure_hpa": {"hPa": 1.0},
    "rain_mm": {"mm": 1.0, "inch": 25.4},
}


def checked_address(address: str) -> str:
    """The address. Raises `ValueError` for one that is neither https nor http on this machine, or is none.

    Words to sign in by are refused: nothing would send them.
    """
    if not address.isascii() or not address.isprintable() or " " in address:
        raise ValueError("an address has no spaces, and ASCII letters alone")
    parts = urlsplit(address)
    is_here = parts.scheme == "http" and parts.hostname in _LOOPBACK
    if not parts.hostname or not (parts.scheme == "https" or is_here) or parts.port == 0:
        raise ValueError("a forecast service is asked by https")
    if "@" in parts.netloc:
        raise ValueError("a forecast service is asked without a name or a password")
    return address


class ForecastService:
    """A service at an address: https, or http on this machine."""

    name = "a forecast service"

    def __init__(self, address: str) -> None:
        self._address = checked_address(address)
        # One question a place and day, however many fished there.
        self._known: dict[str, list[Reading]] = {}

    def weather(self, span: "Span") -> Weather | None:
        """Raises `OSError` when it does not answer in time, `ValueError` for an answer that is none."""
        readings = self._readings(span)
        if not readings:
            return None
        return weather_of(readings, begins=span.begins, ends=span.ends, hours_fished=span.hours_fished)

    def _readings(self, span: "Span") -> list[Reading]:
        asked = {
            "latitude": round(span.latitude, 1),
            "longitude": round(span.longitude, 1),
            "start_date": span.begins.astimezone(UTC).date().isoformat(),
            "end_date": span.ends.astimezone(UTC).date().isoformat(),
            "hourly": ",".join(_HOURLY),
            "wind_speed_unit": "ms",
            "timezone": "UTC",
        }
        separator = "&" if urlsplit(self._address).query else "?"
        address = self._address + separator + urlencode(asked)
        if address not in self._known:
            self._known[address] = _read(self._asked(address))
        return self._known[address]

    def _asked(self, address: str) -> Any:
        with _answer_to(address) as pieces:
            body = bytearray()
            for piece in pieces:
                body += piece
                if len(body) > LARGEST_ANSWER_BYTES:
                    raise ValueError("the answer is too long")
        try:
            return json.loads(body)
        except RecursionError:
            raise ValueError("the answer is nested too deeply") from None


@contextmanager
def _answer_to(address: str) -> Iterator[Iterator[bytes]]:
    """The pieces of an answer's body. What the service sends elsewhere is not followed.

    Raises `OSError` for an answer that is not 200, not HTTP, or not whole in time.
    """
    parts = urlsplit(address)
    kind = HTTPSConnection if parts.scheme == "https" else HTTPConnection
    # With its port said: a host of colons alone would be taken for a host and a port.
    connection = kind(str(parts.hostname), parts.port or kind.default_port, timeout=TIME_OUT_S)
    ends = time.monotonic() + WHOLE_ANSWER_S
    try:
        connection.connect()
        # Each piece of a dripping answer comes in time: the line is cut under it.
        cut = threading.Timer(WHOLE_ANSWER_S, _cut, [connection.sock])
        cut.daemon = True
        cut.start()
        try:
            connection.request("GET", f"{parts.path or '/'}?{parts.query}", headers={"Connection": "close"})
            answer = connection.getresponse()
            if answer.status != 200:
                raise OSError(f"the service answered {answer.status}")
            yield iter(lambda: answer.read1(64 * 1024), b"")
        finally:
            cut.cancel()
        if time.monotonic() > ends:
            raise OSError("the answer timed out")
    except HTTPException as fault:
        raise OSError(f"the service does not speak HTTP: {type(fault).__name__}") from None
    finally:
        connection.close()


def _cut(line: socket.socket) -> None:
    with suppress(OSError):
        line.shutdown(socket.SHUT_RDWR)


def _read(answer: Any) -> list[Reading]:
    """Raises `ValueError` for anything but hours with arrays of numbers of their length, in units we know."""
    hourly = answer.get("hourly") if isinstance(answer, dict) else None
    times = hourly.get("time") if isinstance(hourly, dict) else None
    if not isinstance(hourly, dict) or not isinstance(times, list):
        raise ValueError("the answer has no hours")
    named = answer.get("hourly_units")
    named = named if isinstance(named, dict) else {}
    factors = {name: _factor(ours, named.get(name)) for name, ours in _HOURLY.items() if name in hourly}
    readings = []
    for place, moment in enumerate(times):
        try:
            read_at = datetime.fromisoformat(str(moment))
            read_at = (read_at.replace(tzinfo=UTC) if read_at.tzinfo is None else read_at).astimezone(UTC)
        except OverflowError:
            raise ValueError("the answer has an hour that is none") from None
        values = {}
        for name, factor in factors.items():
            column = hourly[name]
            value = column[place] if isinstance(column, list) and len(column) == len(times) else None
            values[_HOURLY[name]] = _plausible(_HOURLY[name], value, factor)
        readings.append(Reading(read_at, **values))
    return readings


def _factor(name: str, unit: Any) -> float:
    """What turns a value into our unit; an answer that names none has what was asked for."""
    known = _UNITS[name]
    if unit is None:
        return next(iter(known.values()))
    if not isinstance(unit, str) or unit not in known:
        raise ValueError(f"the answer has a unit of {name} that is not known")
    return known[unit]


def _plausible(name: str, value: Any, factor: float) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    least, most = PLAUSIBLE[name]
    try:
        ours = value * factor
    except OverflowError:
        return None
    return ours if least <= ours <= most else None
