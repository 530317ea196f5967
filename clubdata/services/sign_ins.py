"""Signing in with a name and a password: counted, written down, and slowed when somebody guesses.

A refusal reads the same and takes the same work whether the name exists or not. How many refusals are too
many is common practice, no source: ten of one name from one address, a hundred of one name, fifty from one
address, each within a quarter of an hour. Keys of devices that are signed in already go on working.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet
from django.utils.crypto import salted_hmac

from clubdata.errors import ClubdataError
from clubdata.models import Account, SignIn, SignInOutcome

WINDOW = timedelta(minutes=15)
MOST_OF_A_NAME_HERE = 10
MOST_OF_A_NAME = 100
MOST_FROM_AN_ADDRESS = 50
_LONGEST_NAME = 150


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
    wait = _seconds_to_wait(attempt)
    account = Account.objects.filter(username=attempt.username[:_LONGEST_NAME]).first()
    if wait:
        _note(attempt, account, SignInOutcome.TOO_MANY)
        raise TooManyAttempts(wait)
    if account is None:
        Account().set_password(password)  # as much work as for a name that exists
    if account is None or not account.check_password(password) or not account.is_active:
        _note(attempt, account, SignInOutcome.REFUSED)
        raise SignInRefused
    _note(attempt, account, SignInOutcome.OPENED)
    return account


def own_sign_ins(account: Account) -> QuerySet[SignIn]:
    """Every attempt in the account's name."""
    return SignIn.objects.filter(account=account)


def _note(attempt: Attempt, account: Account | None, outcome: SignInOutcome) -> None:
    SignIn.objects.create(
        account=account,
        name_digest=attempt.name_digest,
        address_digest=attempt.address_digest,
        outcome=outcome,
        device=attempt.device[:80],
        at=attempt.at,
    )


def _seconds_to_wait(attempt: Attempt) -> int:
    """Until the refusals of the last quarter of an hour are few enough again."""
    of_name, from_here = Q(name_digest=attempt.name_digest), Q(address_digest=attempt.address_digest)
    refused = SignIn.objects.filter(outcome=SignInOutcome.REFUSED, at__gt=attempt.at - WINDOW)
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
