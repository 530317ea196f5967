"""The three people of the demo: a login and a token each, new at every start."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from clubdata.models import AccessToken, Account, Club, Member, Role
from clubdata.services import accounts

DEVICE = "demo"
LIFETIME = timedelta(hours=12)
# The role, and what the demo calls the person.
PEOPLE = ((Role.MEMBER, "member"), (Role.ORGANISER, "organiser"), (Role.ANALYST, "analyst"))


@dataclass(frozen=True, slots=True)
class Person:
    """What one of the three needs to sign in; the password and the token are shown once."""

    title: str
    login: str
    password: str
    token: str


def fresh_people(*, club: Club, now: datetime) -> list[Person]:
    """Close what earlier starts handed out and hand out anew."""
    for token in AccessToken.objects.filter(device=DEVICE, revoked_at__isnull=True):
        accounts.revoke_token(token=token, now=now)
    return [_fresh_person(club=club, role=role, login=login, now=now) for role, login in PEOPLE]


def _fresh_person(*, club: Club, role: Role, login: str, now: datetime) -> Person:
    password = secrets.token_urlsafe(9)
    account = _account(member=_member(club=club, role=role, login=login), login=login, now=now)
    account.set_password(password)
    account.save(update_fields=["password"])
    _, key = accounts.issue_token(account=account, device=DEVICE, now=now, lifetime=LIFETIME)
    return Person(title=str(role.label), login=login, password=password, token=key)


def _account(*, member: Member, login: str, now: datetime) -> Account:
    if member.account is not None:
        return member.account
    return accounts.open_account(member=member, username=login, password=None, actor=None, now=now)


def _member(*, club: Club, role: Role, login: str) -> Member:
    """Who has this login already; else the first of the club's members in this role without one."""
    members = Member.objects.filter(club=club, left_on__isnull=True).order_by("number")
    known: Member | None = members.filter(account__username=login).first()
    return known or members.filter(roles__role=role, account__isnull=True)[0]
