"""The book of members, as its keeper writes in it: who joins, changes, holds which role, and leaves."""

import hashlib
import json
import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.db import IntegrityError, transaction

from clubdata.errors import Conflict, InvalidInput, NotFound
from clubdata.models import Club, Member, MemberRole, Protection, Role
from clubdata.models.clubs import still_a_member
from clubdata.services.faults import VersionMoved
from clubdata.services.members import Membership

KEEPS_THE_BOOK: Final = frozenset({Role.SECRETARY})
# Who sets out pegs needs to know who must sit near the path.
SEES_ACCESS_NEEDS: Final = frozenset({Role.ORGANISER, Role.SECRETARY})
SEES_NAMES: Final = frozenset({Role.ORGANISER, Role.SECRETARY})
PERSONAL: Final = ("contact", "protection", "responsible_adult")
WRITTEN: Final = ("number", "name", "joined_on", "left_on", *PERSONAL, "access_needs")


def find_member(who: Membership, uid: uuid.UUID) -> Member:
    """A line of the book. Raises `NotFound`: for ordinary members, for every line but their own."""
    lines = Member.objects.visible_to(who.account).filter(club=who.club).prefetch_related("roles")
    if not who.may(SEES_NAMES):
        lines = lines.filter(pk=who.member.pk)
    found: Member | None = lines.filter(uid=uid).first()
    if found is None:
        raise NotFound("There is no such member.")
    return found


def withheld_fields(who: Membership, member: Member) -> frozenset[str]:
    """What of a line the actor may not read: health data and contacts are for few."""
    if member.pk == who.member.pk or who.may(KEEPS_THE_BOOK):
        return frozenset()
    held_back = set(PERSONAL)
    if not who.may(SEES_ACCESS_NEEDS):
        held_back.add("access_needs")
    return frozenset(held_back)


def state_of(member: Member) -> str:
    """A digest of a line with its roles: what an ETag says, and what a change must name."""
    roles = sorted(held.role for held in member.roles.all())
    said = [str(getattr(member, name)) for name in WRITTEN]
    return hashlib.sha256(json.dumps([said, roles]).encode()).hexdigest()[:24]


def add_member(*, who: Membership, given: Mapping[str, Any]) -> Member:
    """A new line. Raises `Conflict` for a number that is taken, `InvalidInput` for what cannot be."""
    who.require(KEEPS_THE_BOOK, "add a member")
    return _saved(Member(club=who.club, **given))


def change_member(*, who: Membership, uid: uuid.UUID, seen: str, given: Mapping[str, Any]) -> Member:
    """Change a line that reads as `seen` (see `state_of`). Raises `VersionMoved` when it no longer does."""
    who.require(KEEPS_THE_BOOK, "change the book of members")
    with transaction.atomic():
        member = _locked(who, uid, seen)
        for name, value in given.items():
            setattr(member, name, value)
        if member.left_on is not None:
            _require_a_keeper(who.club, without=member)
        return _saved(member)


def set_roles(*, who: Membership, uid: uuid.UUID, seen: str, roles: frozenset[Role]) -> Member:
    """The roles of a member, all at once. Raises `Conflict` rather than leave no secretary."""
    who.require(KEEPS_THE_BOOK, "give and take roles")
    with transaction.atomic():
        member = _locked(who, uid, seen)
        if Role.SECRETARY not in roles:
            _require_a_keeper(who.club, without=member)
        MemberRole.objects.filter(member=member).exclude(role__in=roles).delete()
        MemberRole.objects.bulk_create(
            [MemberRole(club=who.club, member=member, role=role) for role in sorted(roles)],
            ignore_conflicts=True,
        )
    return find_member(who, uid)


def _locked(who: Membership, uid: uuid.UUID, seen: str) -> Member:
    # The club's row, so that two at once cannot each take away the other's last secretary.
    who.club.in_turn()
    member = find_member(who, uid)
    if member.erased_at is not None:
        raise Conflict("This member was erased: nothing more is written down.")
    if state_of(member) != seen:
        raise VersionMoved(())
    return member


def _require_a_keeper(club: Club, *, without: Member) -> None:
    keepers = Member.objects.filter(still_a_member(), club=club, roles__role=Role.SECRETARY)
    if keepers.filter(pk=without.pk).exists() and not keepers.exclude(pk=without.pk).exists():
        raise Conflict("The club would have no secretary: give somebody else the role first.", field="roles")


def _saved(member: Member) -> Member:
    if member.protection != Protection.NONE and not member.responsible_adult:
        message = "A junior or an adult at risk has a responsible adult on the record."
        raise InvalidInput(message, field="responsible_adult", code="responsible_adult_missing")
    if member.joined_on and member.left_on and member.left_on < member.joined_on:
        raise InvalidInput("Nobody leaves before joining.", field="left_on", code="left_before_joining")
    try:
        with transaction.atomic():
            member.save()
    except IntegrityError:
        raise Conflict("Another member has this number.", field="number") from None
    return member
