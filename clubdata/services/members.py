"""Who an account is in a club, and which roles it holds there."""

from dataclasses import dataclass

from django.db.models import QuerySet

from clubdata.errors import NotAllowed, NotFound
from clubdata.models import Account, Club, Member, Role
from clubdata.models.clubs import still_a_member

# Whose work needs the names on the club's books.
SEES_MEMBERS = frozenset({Role.ORGANISER, Role.SECRETARY})
ENTERS_FOR_OTHERS = frozenset({Role.ORGANISER, Role.SECRETARY})
# Who changes the returns of a match whose result is final.
AFTER_FINAL = frozenset({Role.ORGANISER})
IMPORTS = frozenset({Role.ORGANISER, Role.ANALYST, Role.SECRETARY})
# Who runs matches or answers for the figures; a draw's evenness is theirs to ask beforehand.
SEES_DRAWS = frozenset({Role.ORGANISER, Role.ANALYST, Role.SECRETARY})
# Who is shown the figures of fewer than five anglers.
SEES_FEW = frozenset({Role.ORGANISER, Role.ANALYST, Role.SECRETARY})
FITS = frozenset({Role.ORGANISER, Role.ANALYST, Role.SECRETARY})
# Single returns that a fit hangs on are for whoever has to judge them.
NAMES_INFLUENTIAL_RETURNS = frozenset({Role.ANALYST})


@dataclass(frozen=True, slots=True)
class Membership:
    """A current member of a club, as the actor of a request."""

    account: Account
    club: Club
    member: Member
    roles: frozenset[Role]

    def may(self, allowed: frozenset[Role]) -> bool:
        return bool(self.roles & allowed)

    def require(self, allowed: frozenset[Role], to: str) -> None:
        """Raise `NotAllowed` unless one of the roles is held; `to` ends the sentence 'Only … may …'."""
        if not self.may(allowed):
            *others, last = [str(role.label) for role in Role if role in allowed]
            needed = f"{', '.join(others)} or {last}" if others else last
            raise NotAllowed(f"Only the club's {needed} may {to}.")


def membership(*, actor: Account, slug: str) -> Membership:
    """The actor's current membership of a club. Raises `NotFound`, also for a member who has left."""
    current = Member.objects.filter(still_a_member(), account=actor, club__slug=slug)
    found = current.select_related("club").prefetch_related("roles").first()
    if found is None:
        raise NotFound("There is no such club.")
    return Membership(
        account=actor,
        club=found.club,
        member=found,
        roles=frozenset(Role(held.role) for held in found.roles.all()),
    )


def number_of(account: Account | None, club_id: int) -> str | None:
    """The number in a club's book of whoever holds the login: a login's own name is often a person's.

    Reads `memberships` as they were prefetched. None for an operator who is no member.
    """
    if account is None:
        return None
    return next((one.number for one in account.memberships.all() if one.club_id == club_id), None)


def current_memberships(actor: Account) -> QuerySet[Member]:
    """The actor's own line in each club that it belongs to today."""
    return (
        Member.objects.filter(still_a_member(), account=actor)
        .select_related("club")
        .prefetch_related("roles")
        .order_by("club__slug")
    )


def visible_members(who: Membership) -> QuerySet[Member]:
    """The whole book for those whose work needs it; a member's own line for everyone else."""
    members = Member.objects.visible_to(who.account).filter(club=who.club).prefetch_related("roles")
    return members if who.may(SEES_MEMBERS) else members.filter(pk=who.member.pk)
