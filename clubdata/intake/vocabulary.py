"""The club's own names, numbers and words, folded, to the ids of what they mean."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from clubdata.models import Club, HookBaitSpelling, Member, Peg, RigTypeSpelling, Water
from clubdata.rules.words import fold


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What a sheet may name. Pegs are by water; `peg_span` says which labels a water's pegs run between."""

    waters: Mapping[str, int]
    pegs: Mapping[int, Mapping[str, int]]
    peg_span: Mapping[int, str]
    members: Mapping[str, int]
    hook_baits: Mapping[str, int]
    rig_types: Mapping[str, int]


def load_vocabulary(club: Club) -> Vocabulary:
    """Five queries, whatever the club's size."""
    pegs: dict[int, dict[str, int]] = defaultdict(dict)
    ends: dict[int, tuple[str, str]] = {}
    found = Peg.objects.filter(club=club).order_by("water", "bank", "bank_order")
    for water_id, label, peg_id in found.values_list("water_id", "label", "pk"):
        pegs[water_id][fold(label)] = peg_id
        ends[water_id] = (ends.get(water_id, (label, label))[0], label)
    return Vocabulary(
        waters={fold(name): pk for name, pk in Water.objects.filter(club=club).values_list("name", "pk")},
        pegs=pegs,
        peg_span={water_id: f"{first} to {last}" for water_id, (first, last) in ends.items()},
        members={
            fold(number): pk for number, pk in Member.objects.filter(club=club).values_list("number", "pk")
        },
        hook_baits=dict(
            HookBaitSpelling.objects.filter(club=club).order_by("folded").values_list("folded", "entry_id")
        ),
        rig_types=dict(
            RigTypeSpelling.objects.filter(club=club).order_by("folded").values_list("folded", "entry_id")
        ),
    )
