"""A club's book of trade rules: the standard's, its own wording, its own rules, and what it leaves out."""

import re
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from clubdata.errors import InvalidInput, NotFound
from clubdata.models import Club, ClubRule, Role
from clubdata.rules.described import Described
from clubdata.rules.trade import RuleBook, TradeRule
from clubdata.rules.trade_records import plain, read_rule, reworded, standard_book
from clubdata.services.members import Membership

KEEPS_THE_RULES: Final = frozenset({Role.ORGANISER, Role.SECRETARY})
MOST_OWN_RULES: Final = 200
#: Addresses of their own beside the rules.
_TAKEN: Final = frozenset({"evidence"})
_NAME: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def book_of(club: Club) -> RuleBook:
    """The book as it holds in the club, in one query."""
    own = list(ClubRule.objects.filter(club=club).order_by("pk"))
    book = standard_book()
    worded = [_rule(book, row.name, row.record) for row in own if row.record is not None]
    return book.with_rules(worded).without(row.name for row in own if row.record is None)


def rules_of(club: Club) -> list[TradeRule]:
    """The rules as they hold, in the book's order."""
    return list(book_of(club).rules.values())


def find_rule(club: Club, name: str) -> TradeRule:
    """One rule as it holds. Raises `NotFound`."""
    found = book_of(club).rules.get(name)
    if found is None:
        raise NotFound("The club's book has no such rule.")
    return found


def word_rule(*, who: Membership, name: str, record: Any, now: datetime) -> TradeRule:
    """Put the club's own wording in a rule's place, or add a rule of its own.

    Raises `NotAllowed`, and `InvalidInput` with the place at fault.
    """
    who.require(KEEPS_THE_RULES, "change the book of rules")
    if len(name) > 60 or not _NAME.fullmatch(name) or name in _TAKEN:
        raise InvalidInput("A rule's name is words in small letters, joined by hyphens.", field="name")
    rule = _rule(standard_book(), name, record)
    with transaction.atomic():
        rows = ClubRule.objects.filter(club=who.club)
        if not rows.filter(name=name).exists() and rows.count() >= MOST_OWN_RULES:
            raise InvalidInput(f"A club has at most {MOST_OWN_RULES} rules of its own.", field="name")
        _put(who, name, plain(rule), now)
    return rule


def leave_out(*, who: Membership, name: str, now: datetime) -> None:
    """Let a rule of the standard no longer speak in the club; a rule of the club's own goes.

    Raises `NotAllowed`, `NotFound`.
    """
    who.require(KEEPS_THE_RULES, "change the book of rules")
    find_rule(who.club, name)
    with transaction.atomic():
        if name in standard_book().rules:
            _put(who, name, None, now)
        else:
            ClubRule.objects.filter(club=who.club, name=name).delete()
            who.club.raise_places_revision()


def as_in_the_standard(*, who: Membership, name: str) -> TradeRule:
    """Go back to the standard's wording. Raises `NotAllowed`, `NotFound` for no rule of it."""
    who.require(KEEPS_THE_RULES, "change the book of rules")
    rule = standard_book().rules.get(name)
    if rule is None:
        raise NotFound("The standard book has no such rule.")
    with transaction.atomic():
        ClubRule.objects.filter(club=who.club, name=name).delete()
        who.club.raise_places_revision()
    return rule


def _put(who: Membership, name: str, record: Any, now: datetime) -> None:
    ClubRule.objects.update_or_create(
        club=who.club,
        name=name,
        defaults={"record": record, "edited_by": who.account, "edited_at": now},
    )
    who.club.raise_places_revision()


def _rule(book: RuleBook, name: str, record: Any) -> TradeRule:
    if name in book.rules:
        return reworded(book.rules[name], record)
    whole = {**record, "name": name} if isinstance(record, dict) else record
    rule = read_rule(Described(whole))
    return reworded(rule, whole)
