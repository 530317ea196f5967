"""A word is found however a member writes it; an unknown one names the nearest and is never guessed."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clubdata.errors import InvalidInput
from clubdata.models import HookBait
from clubdata.services.lexicon import read_lexicon, vocabulary_of
from tests.factories import SmallClub, make_word

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("word", ["red maggot", "Reds", "  RED   MAGGOT ", "ｒｅｄｓ"])
def test_a_word_is_found_however_it_is_written(word: str, heron_small: SmallClub) -> None:
    lexicon = read_lexicon(club=heron_small.club, kind="hook bait")
    assert lexicon.find(word) == heron_small.red_maggot.pk


@pytest.mark.parametrize("word", ["red maggots", "rds", "maggot", "caster reds"])
def test_a_near_word_is_not_taken_for_it(word: str, heron_small: SmallClub) -> None:
    with pytest.raises(InvalidInput) as refused:
        read_lexicon(club=heron_small.club, kind="hook bait").find(word)
    assert refused.value.code == "unknown_word"


def test_the_nearest_is_named_by_the_clubs_own_name(heron_small: SmallClub) -> None:
    with pytest.raises(InvalidInput, match="the nearest is 'caster'"):
        read_lexicon(club=heron_small.club, kind="hook bait").find("castersz")


def test_nothing_near_points_to_the_vocabulary(heron_small: SmallClub) -> None:
    with pytest.raises(InvalidInput, match="see the club's vocabulary"):
        read_lexicon(club=heron_small.club, kind="hook bait").find("zzz")


def test_another_clubs_words_are_neither_found_nor_named(
    heron_small: SmallClub, other_club: SmallClub
) -> None:
    make_word(HookBait, other_club.club, "secret paste")
    lexicon = read_lexicon(club=heron_small.club, kind="hook bait")
    for word in ("secret paste", "secret pastes", str(other_club.caster.uid)):
        with pytest.raises(InvalidInput) as refused:
            lexicon.find(word)
        assert "nearest is 'secret" not in refused.value.message


def test_a_lexicon_is_one_query(heron_small: SmallClub) -> None:
    with CaptureQueriesContext(connection) as queries:
        read_lexicon(club=heron_small.club, kind="species")
    assert len(queries) == 1


def test_the_vocabulary_has_all_five_kinds_by_name(heron_small: SmallClub) -> None:
    found = {
        kind: [entry.name for entry in entries] for kind, entries in vocabulary_of(heron_small.club).items()
    }
    assert found == {
        "methods": ["pole", "waggler"],
        "rig_types": ["bulk and droppers", "tapered shot"],
        "hook_baits": ["caster", "red maggot"],
        "feeds": ["groundbait"],
        "species": ["bream", "roach"],
    }
