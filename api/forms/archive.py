"""Returns as a Darwin Core archive (TDWG, text guide): sessions as events, catches as occurrences.

Made to be shared: it names no member, no account and no note. A blank is an event with nothing detected, and
stands in the archive like every other; `sampleSizeValue` is its effort in rod-hours.
"""

import csv
import io
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from typing import IO, Any, Final
from xml.sax.saxutils import escape

from api.forms.tables import csv_cell
from clubdata.models import Outcome, Return

TERMS: Final = "http://rs.tdwg.org/dwc/terms/"
EVENT: Final = (
    "eventID", "eventDate", "samplingProtocol", "sampleSizeValue", "sampleSizeUnit", "samplingEffort",
    "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum", "eventRemarks",
)  # fmt: skip
OCCURRENCE: Final = (
    "eventID", "occurrenceID", "basisOfRecord", "scientificName", "vernacularName", "individualCount",
    "organismQuantity", "organismQuantityType", "occurrenceStatus",
)  # fmt: skip
_REMARKS: Final = {
    Outcome.BLANK: "nothing caught",
    Outcome.DID_NOT_WEIGH: "catch not weighed",
    Outcome.COUNTED_ONLY: "catch counted, not weighed",
    Outcome.OVER_NET_LIMIT: "at least so much: over the net limit",
    Outcome.ESTIMATED: "total estimated",
}
Read = Callable[[], Iterable[Return]]


def archive_file(read: Read, *, title: str, on: date) -> IO[bytes]:
    """The archive in a file that goes when it is closed. `read` gives the returns anew each time."""
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the response closes it
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as parts:
        _table(parts, "event.csv", EVENT, (_event(session) for session in read()))
        _table(
            parts, "occurrence.csv", OCCURRENCE, (row for session in read() for row in _occurrences(session))
        )
        parts.writestr("meta.xml", _meta())
        parts.writestr("eml.xml", _description(title, on))
    file.seek(0)
    return file


def _table(
    parts: zipfile.ZipFile, name: str, terms: tuple[str, ...], rows: Iterator[tuple[Any, ...]]
) -> None:
    with parts.open(name, "w") as binary, io.TextIOWrapper(binary, "utf-8", newline="") as text:
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(terms)
        writer.writerows([csv_cell(cell) for cell in row] for row in rows)


def _event(session: Return) -> tuple[Any, ...]:
    water, hours = session.water, session.hours or 0
    effort = float(hours) * session.rods
    part = next(iter(session.parts.all()), None)
    method = "rod and line" if part is None or part.method is None else f"rod and line: {part.method.name}"
    return (
        str(session.uid),
        session.fished_on,
        method,
        effort,
        "rod-hour",
        f"{float(hours):g} hours with {session.rods} {'rod' if session.rods == 1 else 'rods'}",
        water.name,
        float(water.latitude),
        float(water.longitude),
        "WGS84",
        _REMARKS.get(Outcome(session.outcome)),
    )


def _occurrences(session: Return) -> Iterator[tuple[Any, ...]]:
    for line in session.catch_lines.all():
        if not (line.fish_count or line.weight_g):
            continue  # lost fish were not detected for certain
        yield (
            str(session.uid),
            str(line.uid),
            "HumanObservation",
            line.species.scientific_name or None,
            line.species.name,
            line.fish_count,
            line.weight_g,
            None if line.weight_g is None else "biomass in grams",
            "present",
        )


def _meta() -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">\n'
        + _part("core", "Event", "event.csv", "id", EVENT)
        + _part("extension", "Occurrence", "occurrence.csv", "coreid", OCCURRENCE)
        + "</archive>\n"
    )


def _part(kind: str, row: str, name: str, key: str, terms: tuple[str, ...]) -> str:
    fields = "".join(
        f'    <field index="{index}" term="{TERMS}{term}"/>\n' for index, term in enumerate(terms)
    )
    return (
        f'  <{kind} encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" '
        f'fieldsEnclosedBy="&quot;" '
        f'ignoreHeaderLines="1" rowType="{TERMS}{row}">\n'
        f"    <files><location>{name}</location></files>\n"
        f'    <{key} index="0"/>\n{fields}  </{kind}>\n'
    )


def _description(title: str, on: date) -> str:
    """The least that the Ecological Metadata Language (2.2.0) asks of a data set."""
    named = escape(title)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<eml:eml xmlns:eml="https://eml.ecoinformatics.org/eml-2.2.0" packageId="returns" '
        'system="clubdata">\n'
        f"  <dataset>\n    <title>Catch returns of {named}</title>\n"
        f"    <creator><organizationName>{named}</organizationName></creator>\n"
        f"    <pubDate>{on.isoformat()}</pubDate>\n"
        "    <abstract><para>Angling sessions with their effort, blanks included, and what was caught. "
        "A catch rate is not stock size.</para></abstract>\n"
        f"    <contact><organizationName>{named}</organizationName></contact>\n"
        "  </dataset>\n</eml:eml>\n"
    )
