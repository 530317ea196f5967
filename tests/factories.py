"""Small records for tests: plain functions, sensible values, everything overridable."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import count
from typing import Any

from clubdata.models import (
    Account,
    Club,
    Feed,
    FeedSpelling,
    HookBait,
    HookBaitSpelling,
    Match,
    Member,
    MemberRole,
    Method,
    MethodSpelling,
    Outcome,
    Peg,
    PegHazard,
    Return,
    RigType,
    RigTypeSpelling,
    Role,
    SessionKind,
    SessionPart,
    Species,
    SpeciesSpelling,
    Water,
)
from clubdata.rules.words import fold

NOW = datetime(2024, 6, 15, 12, 0, tzinfo=UTC)
SPELLINGS: dict[type[Any], type[Any]] = {
    Method: MethodSpelling,
    RigType: RigTypeSpelling,
    HookBait: HookBaitSpelling,
    Feed: FeedSpelling,
    Species: SpeciesSpelling,
}
_number = count(1)


def make_club(slug: str, **values: Any) -> Club:
    return Club.objects.create(slug=slug, **{"name": f"{slug.title()} Club (invented)", **values})


def make_member(club: Club, number: str, *roles: Role, login: bool = False, **values: Any) -> Member:
    """A member with roles; with `login` an account `<slug>-<number>` that opens by token."""
    if login:
        account = Account(username=f"{club.slug}-{number}".lower())
        account.set_unusable_password()
        account.save()
        values["account"] = account
    member = Member.objects.create(club=club, number=number, **values)
    MemberRole.objects.bulk_create(MemberRole(club=club, member=member, role=role) for role in roles)
    return member


def make_water(club: Club, name: str, **values: Any) -> Water:
    defaults = {"kind": "stillwater", "latitude": Decimal("53.03"), "longitude": Decimal("0.46")}
    return Water.objects.create(club=club, name=name, **{**defaults, **values})


def make_pegs(water: Water, *labels: str, **values: Any) -> dict[str, Peg]:
    """Pegs of one bank in the order given, by label."""
    return {
        label: Peg.objects.create(
            club=water.club, water=water, label=label, bank_order=order, **{"depth_cm": 180, **values}
        )
        for order, label in enumerate(labels, start=1)
    }


def make_word(kind: type[Any], club: Club, name: str, *spellings: str, **values: Any) -> Any:
    """A vocabulary entry of the kind, found by its name and by the spellings."""
    entry = kind.objects.create(club=club, name=name, **values)
    folded = {fold(spelling) for spelling in (name, *spellings)}
    SPELLINGS[kind].objects.bulk_create(
        SPELLINGS[kind](club=club, entry=entry, folded=word) for word in sorted(folded)
    )
    return entry


def make_match(water: Water, code: str = "", **values: Any) -> Match:
    code = code or f"M-{next(_number)}"
    return Match.objects.create(
        club=water.club, water=water, code=code, **{"held_on": date(2024, 5, 1), **values}
    )


def make_return(member: Member, peg: Peg, *, part: dict[str, Any] | None = None, **values: Any) -> Return:
    """A weighed pleasure session of five hours, with one part when `part` is given."""
    defaults: dict[str, Any] = {
        "session_kind": SessionKind.PLEASURE,
        "fished_on": date(2024, 5, 1),
        "hours": Decimal(5),
        "outcome": Outcome.WEIGHED,
        "entered_at": NOW,
    }
    chosen = {**defaults, **values}
    if chosen["outcome"] in {Outcome.WEIGHED, Outcome.ESTIMATED, Outcome.OVER_NET_LIMIT}:
        weighed = {"weight_g": 2820, "weight_typed": "2.82 kg", "weight_unit": "kilogram"}
        chosen = {**weighed, "weight_step": Decimal("0.01"), **chosen}
    elif chosen["outcome"] == Outcome.BLANK:
        chosen = {"weight_g": 0, **chosen}
    session = Return.objects.create(club=member.club, member=member, water=peg.water, peg=peg, **chosen)
    if part is not None:
        SessionPart.objects.create(club=member.club, session=session, **part)
    return session


@dataclass(frozen=True)
class SmallClub:
    """An invented club; its mere has pegs 1 to 12 and 12A, and peg 5 lies under a power line."""

    club: Club
    mere: Water
    brook: Water
    pegs: dict[str, Peg]
    brook_pegs: dict[str, Peg]
    member: Member
    other_member: Member
    organiser: Member
    analyst: Member
    secretary: Member
    pole: Method
    waggler: Method
    tapered: RigType
    bulk: RigType
    red_maggot: HookBait
    caster: HookBait
    groundbait: Feed
    roach: Species
    bream: Species

    def account(self, role: str = "member") -> Account:
        """The login of `member`, `other_member`, `organiser`, `analyst` or `secretary`."""
        account: Account | None = getattr(self, role).account
        assert account is not None
        return account


def make_small_club(slug: str) -> SmallClub:
    club = make_club(slug)
    mere = make_water(club, f"{slug.title()} Mere")
    brook = make_water(club, f"{slug.title()} Brook", kind="river")
    pegs = make_pegs(mere, *(str(number) for number in range(1, 13)), "12A")
    PegHazard.objects.create(
        club=club,
        peg=pegs["5"],
        kind="overhead power line",
        noted_on=date(2020, 1, 1),
        note="Low at the reeds",
    )
    return SmallClub(
        club=club,
        mere=mere,
        brook=brook,
        pegs=pegs,
        brook_pegs=make_pegs(brook, "1", "2", "3"),
        member=make_member(club, "M1", login=True, name="Member One (invented)"),
        other_member=make_member(club, "M2", login=True, name="Member Two (invented)"),
        organiser=make_member(club, "M3", Role.ORGANISER, login=True),
        analyst=make_member(club, "M4", Role.ANALYST, login=True),
        secretary=make_member(club, "M5", Role.SECRETARY, login=True),
        pole=make_word(Method, club, "pole"),
        waggler=make_word(Method, club, "waggler", "wag"),
        tapered=make_word(RigType, club, "tapered shot", "tapered", "taper"),
        bulk=make_word(RigType, club, "bulk and droppers", "bulk"),
        red_maggot=make_word(HookBait, club, "red maggot", "reds", colour="red"),
        caster=make_word(HookBait, club, "caster", "casters"),
        groundbait=make_word(Feed, club, "groundbait"),
        roach=make_word(Species, club, "roach", scientific_name="Rutilus rutilus", group="silvers"),
        bream=make_word(Species, club, "bream", scientific_name="Abramis brama"),
    )
