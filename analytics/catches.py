"""What returns say of species, and who was on the club's books: read beside the sessions, by public ids."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from clubdata.models import CatchLine, Member, Species
from clubdata.services.doubts import doubted_returns

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Catch lines account for a total when they differ from it by no more than this share, or this weight:
#: each line was weighed or guessed, and rounded, apart from the total. A rule of ours, no source.
WHOLE_SHARE = 0.05
WHOLE_G = 50.0


def read_catch_lines(*, club_id: int) -> pd.DataFrame:
    """Every catch line of the club, save those of returns with an open doubt.

    Columns: uid_high, uid_low (uint64, the halves of the return's public id), species (its public id in
    hexadecimal), group (the word in which the club counts it, empty for none), weight_g and fish_count
    (float64, NaN where not recorded).
    """
    species = {row[0]: (row[1].hex, row[2]) for row in _species(club_id)}
    doubted = doubted_returns(club_id)
    lines = CatchLine.objects.filter(club_id=club_id).exclude(session_id__in=doubted).order_by()
    rows = list(lines.values_list("session__uid", "species_id", "weight_g", "fish_count"))
    uids, keys, weights, counts = zip(*rows, strict=True) if rows else ((), (), (), ())
    halves = np.frombuffer(b"".join(uid.bytes for uid in uids), ">u8").reshape(-1, 2).astype(np.uint64)
    return pd.DataFrame(
        {
            "uid_high": halves[:, 0],
            "uid_low": halves[:, 1],
            "species": [species[key][0] for key in keys],
            "group": [species[key][1] for key in keys],
            "weight_g": np.array(weights, dtype=np.float64),
            "fish_count": np.array(counts, dtype=np.float64),
        }
    )


def read_memberships(*, club_id: int) -> pd.DataFrame:
    """Everybody who is or was on the club's books: angler (public id in hexadecimal), joined_on and left_on
    (datetime64, missing where not recorded)."""
    rows = list(
        Member.objects.filter(club_id=club_id).order_by("pk").values_list("uid", "joined_on", "left_on")
    )
    joined, left = ([row[place] for row in rows] for place in (1, 2))
    return pd.DataFrame(
        {
            "angler": [row[0].hex for row in rows],
            "joined_on": pd.to_datetime(pd.Series(joined, dtype=object)),
            "left_on": pd.to_datetime(pd.Series(left, dtype=object)),
        }
    )


def locate_lines(return_halves: NDArray[np.uint64], lines: pd.DataFrame) -> pd.DataFrame:
    """The lines with `of_return`, the place of their return among `return_halves` (n, 2), the halves of
    public ids; those of other returns, that came later, are gone."""
    known = pd.DataFrame(return_halves, columns=["uid_high", "uid_low"])
    return lines.merge(known.assign(of_return=np.arange(len(known))), on=["uid_high", "uid_low"])


def tells_the_whole(*, total_g: FloatArray, lines_g: FloatArray) -> BoolArray:
    """Whether a return's catch lines account for its total, (n,): `lines_g` is their sum, NaN where a line
    was not weighed or there is none."""
    apart = np.abs(lines_g - total_g)
    whole: BoolArray = apart <= np.maximum(WHOLE_SHARE * total_g, WHOLE_G)
    return whole


def _species(club_id: int) -> Any:
    return Species.objects.filter(club_id=club_id).order_by("pk").values_list("pk", "uid", "group")
