"""Give a member a login and a device's token: `manage.py open_login CLUB NUMBER USERNAME`."""

from argparse import ArgumentParser
from datetime import UTC, datetime, timedelta
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from clubdata.errors import ClubdataError
from clubdata.models import Account, Member
from clubdata.services.accounts import issue_token, open_account


class Command(BaseCommand):
    help = (
        "Opens a login for a member and prints a token for one device, once. "
        "A member who has a login gets a token for a further device."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("club", help="the club's slug")
        parser.add_argument("number", help="the member's number")
        parser.add_argument("username", help="the login's name")
        parser.add_argument("--device", default="command line", help="what the token is for")
        parser.add_argument("--days", type=int, default=90, help="how long the token opens the door")
        parser.add_argument("--password", action="store_true", help="ask for a password as well")

    def handle(self, *_: Any, **options: Any) -> None:
        member = (
            Member.objects.select_related("club", "account")
            .filter(club__slug=options["club"], number=options["number"], left_on__isnull=True)
            .first()
        )
        if member is None:
            raise CommandError("There is no such club, or no such current member of it.")
        password = getpass() if options["password"] else None
        try:
            key = _open(member, options, password, now=datetime.now(UTC))
        except ClubdataError as refusal:
            raise CommandError(refusal.message) from None
        self.stdout.write(key)
        self.stderr.write("This token is shown once. Send it as: Authorization: Bearer TOKEN")


@transaction.atomic
def _open(member: Member, options: dict[str, Any], password: str | None, *, now: datetime) -> str:
    account: Account | None = member.account
    if account is None or account.username != options["username"]:
        account = open_account(
            member=member, username=options["username"], password=password, actor=None, now=now
        )
    _, key = issue_token(
        account=account, device=options["device"], now=now, lifetime=timedelta(days=options["days"])
    )
    return key
