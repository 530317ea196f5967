"""Codes of a frame: the categories that occur, in order, and public ids for the keys of the tables."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from clubdata.models import Club

IntArray = NDArray[np.int64]


def categorical(codes: NDArray[Any], names: Sequence[str]) -> pd.Categorical:
    """Categories that occur, sorted, from codes into `names` in any order; -1 is missing."""
    used = np.flatnonzero(np.bincount(codes + 1, minlength=len(names) + 1)[1:])
    ordered = sorted(used.tolist(), key=names.__getitem__)
    # One place more, so that -1 finds -1.
    place = np.full(len(names) + 1, -1, dtype=np.int32)
    place[ordered] = np.arange(len(ordered))
    categories = pd.Index([names[code] for code in ordered], dtype="str")
    return pd.Categorical.from_codes(place[codes], categories=categories)


def words(column: pa.ChunkedArray) -> tuple[NDArray[np.int32], list[str]]:
    """A dictionary column, none missing, as codes into its words."""
    one = column.unify_dictionaries()
    codes = [chunk.indices.to_numpy() for chunk in one.chunks]
    return np.concatenate(codes), one.chunk(0).dictionary.to_pylist()


def public_ids(keys: IntArray, kind: Any, club: Club) -> tuple[IntArray, list[str]]:
    """Codes (-1 for the key -1) of a table's keys, and the public ids in hexadecimal they stand for.

    The ids are read after the rows. A record that was deleted in between is not recorded: the club's
    revision has grown, so the frame is known to be old.
    """
    held = kind.objects.filter(club=club).order_by("pk").values_list("pk", "uid")
    known, uids = zip(*held, strict=True) if held else ((), ())
    codes = pd.Index(known, dtype=np.int64).get_indexer(pd.Index(keys, dtype=np.int64))
    return codes.astype(np.int64), [uid.hex for uid in uids]
