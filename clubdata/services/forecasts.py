"""An open forecast service, asked over HTTP: off unless `CLUBDATA_FORECAST_URL` names one.

The service is asked with `latitude`, `longitude`, `start_date`, `end_date`, `timezone=UTC` and the names of
hourly values; it answers JSON whose `hourly` object has `time` and an array of each of those names. Nothing
of a member, a return or a club is sent: a place to a tenth of a degree, and days.
"""

import json
import urllib.request
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final
from urllib.error import HTTPError
from urllib.parse import urlencode, urlsplit

from clubdata.rules.weather import PLAUSIBLE, Reading, Weather, weather_of

if TYPE_CHECKING:
    from clubdata.services.weather import Span

TIME_OUT_S: Final = 5.0
LARGEST_ANSWER_BYTES: Final = 512 * 1024
_LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")
#: Names of hourly values in the service's answer, and what turns each into our unit.
_HOURLY: Final = {
    "temperature_2m": ("air_temperature_c", 1.0),
    "wind_speed_10m": ("wind_m_s", 1.0),
    "wind_direction_10m": ("wind_from_degrees", 1.0),
    "cloud_cover": ("cloud_oktas", 8.0 / 100.0),
    "pressure_msl": ("pressure_hpa", 1.0),
    "precipitation": ("rain_mm", 1.0),
}


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """What is asked is asked of the address in the settings, and of no other."""

    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


class ForecastService:
    """A service at an address: https, or http on this machine."""

    name = "a forecast service"

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        if parts.scheme != "https" and not (parts.scheme == "http" and parts.hostname in _LOOPBACK):
            raise ValueError("a forecast service is asked by https")
        self._address = address
        # One question a place and day, however many fished there.
        self._known: dict[str, list[Reading]] = {}
        self._opener = urllib.request.build_opener(_NoRedirect)

    def weather(self, span: "Span") -> Weather | None:
        """Raises `OSError` when it does not answer in time, `ValueError` for an answer that is none."""
        readings = [one for one in self._readings(span) if span.begins <= one.read_at <= span.ends]
        return weather_of(readings) if readings else None

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
        try:
            with self._opener.open(address, timeout=TIME_OUT_S) as answer:
                body = answer.read(LARGEST_ANSWER_BYTES + 1)
        except HTTPError as refused:
            raise OSError(f"the service answered {refused.code}") from None
        if len(body) > LARGEST_ANSWER_BYTES:
            raise ValueError("the answer is too long")
        return json.loads(body)


def _read(answer: Any) -> list[Reading]:
    """Raises `ValueError` for anything but hours with arrays of numbers of their length."""
    hourly = answer.get("hourly") if isinstance(answer, dict) else None
    times = hourly.get("time") if isinstance(hourly, dict) else None
    if not isinstance(hourly, dict) or not isinstance(times, list):
        raise ValueError("the answer has no hours")
    readings = []
    for place, moment in enumerate(times):
        read_at = datetime.fromisoformat(str(moment))
        read_at = read_at.replace(tzinfo=UTC) if read_at.tzinfo is None else read_at
        values = {}
        for name, (ours, unit) in _HOURLY.items():
            column = hourly.get(name)
            value = column[place] if isinstance(column, list) and len(column) == len(times) else None
            values[ours] = _plausible(ours, value, unit)
        readings.append(Reading(read_at, **values))
    return readings


def _plausible(name: str, value: Any, unit: float) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    least, most = PLAUSIBLE[name]
    return value * unit if least <= value * unit <= most else None
