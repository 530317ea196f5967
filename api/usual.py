"""What members ask after every fit, as addresses: what is worth answering before anyone does."""

from collections.abc import Iterator
from datetime import date
from urllib.parse import urlencode

from clubdata.models import Club
from clubdata.services.waters import pegs_in_use

#: Addresses a club; those of single pegs come last.
MOST_ADDRESSES = 300


def usual_addresses(*, club: Club, today: date) -> tuple[str, ...]:
    """Peg form and trends of every water, and advice of this month for each water and each peg in use."""
    return tuple(_addresses(club, today))[:MOST_ADDRESSES]


def _addresses(club: Club, today: date) -> Iterator[str]:
    base = f"/api/v1/clubs/{club.slug}/"
    pegs = pegs_in_use(club)
    waters = [f"{base}waters/{water}/" for water in pegs]
    advice = f"advice/?month={today.month}"
    for place in (base, *waters):
        yield from (f"{place}trends/", f"{place}trends/?by=year")
    for water in waters:
        yield from (f"{water}{advice}", f"{water}peg-form/")
    for water, labels in zip(waters, pegs.values(), strict=True):
        yield from (f"{water}{advice}&{urlencode({'peg': label})}" for label in labels)
