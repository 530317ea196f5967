"""Many returns at once: each is kept or refused by itself, and none spoils another."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from clubdata.errors import ClubdataError
from clubdata.models import Return
from clubdata.services.drafts import Draft, draft
from clubdata.services.hand_ins import HandIn
from clubdata.services.matches import require_open
from clubdata.services.members import Membership
from clubdata.services.returns import hand_in, keep


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of one of many: the return's public id and whether it is new, or why it was refused."""

    uid: uuid.UUID | None = None
    is_new: bool = False
    refusal: ClubdataError | None = None


def hand_in_many(*, who: Membership, now: datetime, many: Sequence[HandIn]) -> list[Kept]:
    """Hand in a week's returns from a phone, sent twice if unsure: what became of each, in their order.

    What is new is written together; what was sent before, or twice in one call, one after another.
    """
    with transaction.atomic():
        told = _known_uids(many)
        outcomes: dict[int, Kept] = {}
        drafted: dict[int, tuple[HandIn, Draft]] = {}
        for place, data in enumerate(many):
            if data.uid is not None and data.uid in told:
                continue
            told.update({data.uid} if data.uid else ())
            try:
                drafted[place] = (data, _drafted(who, now, data))
            except ClubdataError as refusal:
                outcomes[place] = Kept(refusal=refusal)
        outcomes |= _together(who, now, drafted)
        for place, data in enumerate(many):
            if place not in outcomes:
                outcomes[place] = _alone(who, now, data)
    return [outcomes[place] for place in range(len(many))]


def _known_uids(many: Sequence[HandIn]) -> set[uuid.UUID]:
    uids = [data.uid for data in many if data.uid is not None]
    return set(Return.with_removed.filter(uid__in=uids).values_list("uid", flat=True)) if uids else set()


def _drafted(who: Membership, now: datetime, data: HandIn) -> Draft:
    made = draft(who=who, now=now, data=data)
    require_open(who, made.session["match_id"])
    return made


def _together(who: Membership, now: datetime, drafted: dict[int, tuple[HandIn, Draft]]) -> dict[int, Kept]:
    """Nothing where another request was first with one of the uids."""
    if not drafted:
        return {}
    try:
        with transaction.atomic():
            kept = keep(who=who, now=now, drafted=list(drafted.values()))
    except IntegrityError:
        return {}
    return {place: Kept(uid=row.uid, is_new=True) for place, row in zip(drafted, kept, strict=True)}


def _alone(who: Membership, now: datetime, data: HandIn) -> Kept:
    try:
        kept = hand_in(who=who, now=now, data=data)
    except ClubdataError as refusal:
        return Kept(refusal=refusal)
    return Kept(uid=kept.uid, is_new=kept.entered_at == now)
