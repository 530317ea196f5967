"""A club's returns with one group's weight: who counts, as what, and from how many on."""

import numpy as np
import pytest

from analytics.catches import read_catch_lines, tells_the_whole
from analytics.enough import LEAST_RETURNS
from analytics.frames import load_frame
from analytics.groups import GroupReturns, groups_of
from clubdata.models import CatchLine, Outcome, Return, SessionPart, Species
from tests.factories import make_word
from tests.unit.analytics.conftest import StoredClub


@pytest.fixture
def club(stored_club: StoredClub) -> StoredClub:
    tell_species(stored_club)
    return stored_club


def tell_species(stored: StoredClub, *, every: int = 1) -> None:
    """Returns that weighed name roach for a third of their weight and carp for the rest, none by turns."""
    roach = make_word(Species, stored.club, "roach", group="silvers")
    carp = make_word(Species, stored.club, "common carp", group="carp")
    weighed = Return.objects.filter(club=stored.club, outcome=Outcome.WEIGHED).order_by("pk")
    lines = []
    for number, session in enumerate(weighed):
        if number % every:
            continue
        third = round(session.weight_g / 3) if number % 4 else 0
        for species, weight_g in ((roach, third), (carp, session.weight_g - third)):
            if weight_g:
                lines.append(CatchLine(club=stored.club, session=session, species=species, weight_g=weight_g))
    CatchLine.objects.bulk_create(lines)


def found(stored: StoredClub) -> dict[str, GroupReturns]:
    lines = read_catch_lines(club_id=stored.club.pk)
    return {item.group: item for item in groups_of(load_frame(club=stored.club), lines)}


def test_a_groups_weight_takes_the_place_of_the_whole_and_blanks_stay(club: StoredClub) -> None:
    groups = found(club)
    assert list(groups) == ["carp", "silvers"], "the most weight first"
    silvers, carp = groups["silvers"].club_frame, groups["carp"].club_frame
    assert silvers is not None and carp is not None
    together = silvers.frame["weight_g"].to_numpy() + carp.frame["weight_g"].to_numpy()
    np.testing.assert_array_equal(together, load_frame(club=club.club).frame["weight_g"].to_numpy())
    blanks = silvers.frame["weight_g"] == 0
    assert (silvers.frame.loc[blanks, "outcome"] == "blank").all()
    assert groups["silvers"].caught == int((~blanks).sum())
    assert groups["silvers"].returns == len(club.frame)


def test_a_return_that_does_not_tell_its_whole_weight_is_left_out(club: StoredClub) -> None:
    untold = CatchLine.objects.filter(species__name="common carp")[:5]
    for line in untold:
        CatchLine.objects.filter(pk=line.pk).update(weight_g=max(1, line.weight_g // 2))
    unweighed = CatchLine.objects.filter(species__name="roach").last()
    CatchLine.objects.filter(pk=unweighed.pk).update(weight_g=None)
    Return.objects.filter(
        pk=CatchLine.objects.exclude(session__in=untold.values("session")).first().session_id
    )
    left_out = {line.session_id for line in untold} | {unweighed.session_id}
    small = Return.objects.filter(pk__in=left_out, weight_g__lte=100).count()
    assert found(club)["silvers"].returns == len(club.frame) - len(left_out) + small


def test_a_return_of_several_parts_is_one_with_the_groups_weight_on_each(club: StoredClub) -> None:
    part = SessionPart.objects.filter(
        session__outcome=Outcome.WEIGHED, session__catch_lines__isnull=False
    ).first()
    total = part.session.weight_g
    SessionPart.objects.filter(pk=part.pk).update(weight_g=total // 2)
    SessionPart.objects.create(
        club=club.club,
        session=part.session,
        part_order=2,
        weight_g=total - total // 2,
        hook_bait=part.hook_bait,
    )
    frame = load_frame(club=club.club)
    assert frame.frame["session"].nunique() == len(club.frame) + 1, "each weighed part is a session"
    carp = found(club)["carp"]
    assert carp.club_frame is not None
    assert carp.returns == len(club.frame) == carp.club_frame.frame["session"].nunique()
    assert len(carp.club_frame.frame) == len(club.frame) + 1


def test_too_few_that_tell_have_no_frame(stored_club: StoredClub) -> None:
    tell_species(stored_club, every=5)
    groups = found(stored_club)
    assert groups["carp"].returns < LEAST_RETURNS and groups["carp"].club_frame is None


def test_a_club_that_names_no_species_has_no_group(stored_club: StoredClub) -> None:
    assert found(stored_club) == {}


@pytest.mark.parametrize(
    ("total", "lines", "whole"),
    [(1000, 1050, True), (1000, 949, False), (5000, 4750, True), (5000, 4749, False), (100, 50, True)],
)
def test_lines_tell_the_whole_within_50_g_or_a_twentieth(total: float, lines: float, whole: bool) -> None:
    assert tells_the_whole(total_g=np.array([total]), lines_g=np.array([lines])).tolist() == [whole]


def test_lines_that_nobody_weighed_tell_nothing() -> None:
    assert tells_the_whole(total_g=np.array([100.0]), lines_g=np.array([np.nan])).tolist() == [False]
