"""Many returns at once: each is kept or refused by itself, and none spoils another."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from clubdata.errors import ClubdataError
from clubdata.services.hand_ins import HandIn
from clubdata.services.members import Membership
from clubdata.services.returns import hand_in


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of one of many: the return's public id and whether it is new, or why it was refused."""

    uid: uuid.UUID | None = None
    is_new: bool = False
    refusal: ClubdataError | None = None


def hand_in_many(*, who: Membership, now: datetime, many: Sequence[HandIn]) -> list[Kept]:
    """Hand in each, in its own transaction; a week's returns from a phone, sent twice if unsure."""
    return [_one(who, now, data) for data in many]


def _one(who: Membership, now: datetime, data: HandIn) -> Kept:
    try:
        kept = hand_in(actor=who.account, club=who.club, now=now, data=data)
    except ClubdataError as refusal:
        return Kept(refusal=refusal)
    return Kept(uid=kept.uid, is_new=kept.entered_at == now)
