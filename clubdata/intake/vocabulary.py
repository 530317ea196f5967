"""The club's own names, numbers and words, folded, to the ids of what they mean."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Self

from clubdata.models import Club, HookBaitSpelling, Member, Peg, RigTypeSpelling, SpeciesSpelling, Water
from clubdata.rules.words import fold

_RUN_OF_DIGITS: Final = re.compile(r"([0-9]+)")
_LONGEST_LABEL: Final = 20


@dataclass(frozen=True, slots=True)
class Known:
    """Folded spellings to ids, and each id's name as the club writes it."""

    ids: Mapping[str, int]
    names: Mapping[int, str]

    @classmethod
    def of(cls, spelt: Iterable[tuple[str, int, str]]) -> Self:
        """From (spelling, id, name)."""
        rows = list(spelt)
        return cls({fold(spelling): pk for spelling, pk, _ in rows}, {pk: name for _, pk, name in rows})


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What a sheet may name. Pegs are by water; `peg_labels` are a water's labels in counting order."""

    waters: Known
    pegs: Mapping[int, Mapping[str, int]]
    peg_labels: Mapping[int, Sequence[str]]
    members: Known
    hook_baits: Known
    rig_types: Known
    species: Known


def counting_order(label: str) -> list[tuple[bool, int, str]]:
    """A key under which peg 2 comes before 12, 12 before 12A, and 12A before 13."""
    parts = [part for part in _RUN_OF_DIGITS.split(fold(label)[:_LONGEST_LABEL]) if part]
    return [
        (False, int(part), "") if part.isascii() and part.isdigit() else (True, 0, part) for part in parts
    ]


def load_vocabulary(club: Club) -> Vocabulary:
    """Six queries, whatever the club's size."""
    pegs: dict[int, dict[str, int]] = defaultdict(dict)
    labels: dict[int, list[str]] = defaultdict(list)
    for water_id, label, peg_id in Peg.objects.filter(club=club).values_list("water_id", "label", "pk"):
        pegs[water_id][fold(label)] = peg_id
        labels[water_id].append(label)
    waters = Water.objects.filter(club=club).order_by("name")
    members = Member.objects.filter(club=club, erased_at__isnull=True).order_by("number")
    hook_baits = HookBaitSpelling.objects.filter(club=club).order_by("folded")
    rig_types = RigTypeSpelling.objects.filter(club=club).order_by("folded")
    species = SpeciesSpelling.objects.filter(club=club).order_by("folded")
    return Vocabulary(
        waters=Known.of(waters.values_list("name", "pk", "name")),
        pegs=pegs,
        peg_labels={water_id: sorted(some, key=counting_order) for water_id, some in labels.items()},
        members=Known.of(members.values_list("number", "pk", "number")),
        hook_baits=Known.of(hook_baits.values_list("folded", "entry_id", "entry__name")),
        rig_types=Known.of(rig_types.values_list("folded", "entry_id", "entry__name")),
        species=Known.of(species.values_list("folded", "entry_id", "entry__name")),
    )
