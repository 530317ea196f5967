"""Signing in with a name and a password: counted, written down, and slowed when somebody guesses.

A refusal reads the same and takes the same work whether the name exists or not. How many refusals are too
many is common practice, no source: ten of one name from one address, a hundred of one name, fifty from one
address, each within a quarter of an hour. Keys of devices that are signed in already go on working.

An attempt is written down as refused before its password is looked at, so that guesses sent all at once are
counted like guesses sent one after another.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import F, OuterRef, Q, QuerySet, Subquery
from django.utils.crypto import salted_hmac

from clubdata.errors import ClubdataError
from clubdata.models import Account, Invitation, Member, Role, SignIn, SignInOutcome
from clubdata.models.clubs import still_a_member
from clubdata.services.members import Membership

WINDOW = timedelta(minutes=15)
MOST_OF_A_NAME_HERE = 10
MOST_OF_A_NAME = 100
MOST_FROM_AN_ADDRESS = 50
_LONGEST_NAME = 150
# Who looks after the club's logins.
AUDITS = frozenset({Role.SECRETARY})


class SignInRefused(ClubdataError):
    """Unknown name, wrong password, closed login: never said which."""

    code = "sign_in_refused"

    def __init__(self) -> None:
        super().__init__("Name and password do not open a login.")


class TooManyAttempts(ClubdataError):
    """So many refusals that the next attempt has to wait, `wait` seconds."""

    code = "too_many_attempts"

    def __init__(self, wait: int) -> None:
        super().__init__("Too many attempts to sign in: wait a while, then try again.")
        self.wait = wait


@dataclass(frozen=True, slots=True)
class Attempt:
    """Who says to be whom, from where, with which device."""

    username: str
    address: str
    device: str
    at: datetime

    @property
    def name_digest(self) -> str:
        return _digest("name", self.username.casefold())

    @property
    def address_digest(self) -> str:
        return _digest("address", self.address)


def _digest(kind: str, value: str) -> str:
    """Enough to count by; without the secret it says nothing."""
    return salted_hmac(f"clubdata.sign_in.{kind}", value, algorithm="sha256").hexdigest()


def sign_in(*, attempt: Attempt, password: str) -> Account:
    """The account that name and password open, written down like every refusal.

    Raises `SignInRefused`, `TooManyAttempts`.
    """
    account = Account.objects.filter(username=attempt.username[:_LONGEST_NAME]).first()
    row = _note(attempt, account)
    wait = _seconds_to_wait(attempt, row)
    if wait:
        _settle(row, SignInOutcome.TOO_MANY)
        raise TooManyAttempts(wait)
    if account is None:
        Account().set_password(password)  # as much work as for a name that exists
    if account is None or not account.check_password(password) or not account.is_active:
        raise SignInRefused
    _settle(row, SignInOutcome.OPENED)
    return account


def own_sign_ins(account: Account) -> QuerySet[SignIn]:
    """Every attempt in the account's name."""
    return SignIn.objects.filter(account=account)


def club_sign_ins(who: Membership) -> QuerySet[SignIn]:
    """Attempts in the names of the club's present members, each with the member's `number`.

    What a login did before it became this member's, as in another club, is not told.
    """
    who.require(AUDITS, "look into the club's sign-ins")
    members = Member.objects.visible_to(who.account).filter(still_a_member(), club=who.club)
    its_own = {"club": who.club, "member__account": OuterRef("account")}
    taken = Invitation.objects.filter(used_at__isnull=False, **its_own).order_by("-used_at")
    return (
        SignIn.objects.filter(account__in=members.filter(account__isnull=False).values("account"))
        .annotate(
            number=Subquery(members.filter(account=OuterRef("account")).values("number")[:1]),
            member_since=Subquery(taken.values("used_at")[:1]),
        )
        .filter(Q(member_since__isnull=True) | Q(at__gte=F("member_since")))
    )


def _note(attempt: Attempt, account: Account | None) -> SignIn:
    return SignIn.objects.create(
        account=account,
        name_digest=attempt.name_digest,
        address_digest=attempt.address_digest,
        outcome=SignInOutcome.REFUSED,
        device=attempt.device[:80],
        at=attempt.at,
    )


def _settle(row: SignIn, outcome: SignInOutcome) -> None:
    SignIn.objects.filter(pk=row.pk).update(outcome=outcome)


def _seconds_to_wait(attempt: Attempt, row: SignIn) -> int:
    """Until the refusals of the last quarter of an hour are few enough again."""
    of_name, from_here = Q(name_digest=attempt.name_digest), Q(address_digest=attempt.address_digest)
    # Those before this one: of many at once the first few are looked at, as they would be one by one.
    before = SignIn.objects.filter(pk__lt=row.pk, at__gt=attempt.at - WINDOW)
    refused = before.filter(outcome=SignInOutcome.REFUSED)
    bounds = (
        (of_name & from_here, MOST_OF_A_NAME_HERE),
        (of_name, MOST_OF_A_NAME),
        (from_here, MOST_FROM_AN_ADDRESS),
    )
    waits = [0]
    for narrowed, most in bounds:
        # The oldest of as many refusals as are too many has to pass out of the window.
        oldest = (
            refused.filter(narrowed).order_by("-at").values_list("at", flat=True)[most - 1 : most].first()
        )
        if oldest is not None:
            waits.append(int((oldest + WINDOW - attempt.at).total_seconds()) + 1)
    return max(waits)
