"""Weighted normal equations from codes, without ever forming the n by k design.

X'WX between two terms is a weighted two-way count table of their codes, folded with their tables of
basis rows (Wood, Li, Shaddick & Augustin 2017, JASA 112:1199; Li & Wood 2020, Stat. Comput. 30:19).
Terms whose codes take few joint values are packed into one code first, so that fewer tables are counted.
A session of several parts is one observation, log mu = log of the sum over parts of h exp(eta): its row
of X is the average of its parts' rows by their shares of mu.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.terms import CodeArray, Encoded
from analytics.catchrate.threads import by_rows, each

#: A pack of terms has at most this many rows, or the square root of the returns if that is more.
SMALLEST_PACK = 64

#: A factor of more levels than this stays by itself: as an identity it costs nothing to fold.
WIDEST_PACKED = 120


def intercept(observations: int) -> Encoded:
    """The column of ones."""
    return Encoded(np.zeros(observations, dtype=np.int32), np.ones((1, 1)), 1)


@dataclass(frozen=True, slots=True, eq=False)
class Pack:
    """Some terms under one code (n,): their table (rows, k), or one factor's identity (None).

    In the identity, row 0 contributes nothing and row 1 + level is that level.
    """

    codes: CodeArray
    rows: int
    table: FloatArray | None
    columns: NDArray[np.int64]

    def fold_left(self, counts: FloatArray) -> FloatArray:
        return counts[1:] if self.table is None else self.table.T @ counts

    def fold_right(self, counts: FloatArray) -> FloatArray:
        return counts[:, 1:] if self.table is None else counts @ self.table

    def spread(self, by_coefficient: FloatArray) -> FloatArray:
        """Per row of the pack, (rows, ...)."""
        mine = by_coefficient[self.columns]
        if self.table is not None:
            return self.table @ mine
        return np.concatenate([np.zeros((1, *mine.shape[1:])), mine])


class Equations:
    """X of one fit: every term's codes, with one identity-coded factor set apart for elimination.

    Columns are numbered through the terms in the order given, the eliminated factor's last.
    `session` (r,) tells the session of each row and is ascending, with sessions of one row first; None
    when all sessions have one row.
    """

    def __init__(
        self,
        terms: Sequence[Encoded],
        eliminated: Encoded | None = None,
        session: NDArray[np.int64] | None = None,
    ) -> None:
        self.terms = tuple(terms)
        self.size = sum(term.size for term in terms)
        self.eliminated_size = 0 if eliminated is None else eliminated.size
        self.rows = len(terms[0].codes)
        sizes = np.bincount(session) if session is not None else np.ones(self.rows, dtype=np.int64)
        self.singles = int(np.sum(sizes == 1))
        self.sessions = len(sizes)
        self._session = session
        single = slice(0, self.singles)
        self.packs = _packed([term.at(single) for term in terms]) if self.singles else []
        self._eliminated = None if eliminated is None else eliminated.codes + np.int32(1)
        if self._eliminated is not None and session is not None:
            starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
            self._eliminated = self._eliminated[starts]

    @cached_property
    def _part_rows(self) -> sparse.csr_matrix:
        """The rows (parts of sessions of several, k) of X, without the eliminated factor."""
        several = slice(self.singles, self.rows)
        blocks = []
        for term in self.terms:
            table = np.eye(term.size) if term.table is None else term.table
            lookup = sparse.csr_matrix(np.vstack([table, np.zeros((1, term.size))]))
            codes = term.codes[several]
            blocks.append(lookup[np.where(codes < 0, len(table), codes)])
        return sparse.csr_matrix(sparse.hstack(blocks))

    def mixed(self, part_eta: FloatArray) -> "Mixture | None":
        """How the parts of sessions of several share, given each part's log mean (r,)."""
        if self._session is None:
            return None
        session = self._session[self.singles :] - self.singles
        return Mixture.of(self._part_rows, session, part_eta[self.singles :])

    def predictor(self, coefficients: FloatArray, eliminated: FloatArray) -> FloatArray:
        """X b by row, (r,), the eliminated factor's effect included."""
        eta = np.zeros(self.rows)
        effects = [pack.spread(coefficients) for pack in self.packs]

        def add(rows: slice) -> None:
            for pack, effect in zip(self.packs, effects, strict=True):
                eta[rows] += effect.take(pack.codes[rows])

        by_rows(add, self.singles)
        if self.singles < self.rows:
            eta[self.singles :] = self._part_rows @ coefficients
        if self._eliminated is not None:
            effect = np.concatenate([[0.0], eliminated]).take(self._eliminated)
            eta += effect if self._session is None else effect[self._session]
        return eta

    def total_eta(self, part_eta: FloatArray) -> FloatArray:
        """Log mean by session, (s,), from the log mean by row."""
        mixture = self.mixed(part_eta)
        if mixture is None:
            return part_eta
        return np.concatenate([part_eta[: self.singles], mixture.log_total])

    def along(
        self, coefficients: FloatArray, eliminated: FloatArray, mixture: "Mixture | None" = None
    ) -> FloatArray:
        """X v by session, (s,), X the rows averaged over parts."""
        eta = self.predictor(coefficients, eliminated)
        if mixture is None:
            return eta
        return np.concatenate([eta[: self.singles], mixture.average(eta[self.singles :])])

    def totals(self, weights: FloatArray, mixture: "Mixture | None" = None) -> tuple[FloatArray, FloatArray]:
        """X'w of the terms, (k,), and of the eliminated factor, (m,)."""
        sums = np.zeros(self.size)
        for pack in self.packs:
            counts = weighted_counts(pack.codes, weights[: self.singles], pack.rows)
            sums[pack.columns] += pack.fold_left(counts)
        if mixture is not None:
            sums += mixture.rows.T @ weights[self.singles :]
        return sums, self._by_eliminated(weights)

    def _by_eliminated(self, weights: FloatArray) -> FloatArray:
        if self._eliminated is None:
            return np.zeros(0)
        return weighted_counts(self._eliminated, weights, self.eliminated_size + 1)[1:]

    def gram(
        self, weights: FloatArray, mixture: "Mixture | None" = None
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """X'WX of the terms (k, k), across to the eliminated factor (k, m), and its diagonal (m,)."""
        single = weights[: self.singles]
        matrix = np.zeros((self.size, self.size))
        across = np.zeros((self.size, self.eliminated_size))

        def fill(pair: tuple[Pack, Pack | None]) -> None:
            left, right = pair
            if right is None:
                across[left.columns] = self._across(left, single)
            elif right is left:
                own = weighted_counts(left.codes, single, left.rows)
                matrix[np.ix_(left.columns, left.columns)] = _own_product(left, own)
            else:
                counts = two_way(left.codes, right.codes, single, left.rows, right.rows)
                product = right.fold_right(left.fold_left(counts))
                matrix[np.ix_(left.columns, right.columns)] = product
                matrix[np.ix_(right.columns, left.columns)] = product.T

        pairs: list[tuple[Pack, Pack | None]] = list(self._pairs())
        if self._eliminated is not None:
            pairs += [(left, None) for left in self.packs]
        each(fill, pairs, rows=self.singles)
        if mixture is not None:
            self._add_mixture(matrix, across, weights, mixture)
        return matrix, across, self._by_eliminated(weights)

    def _across(self, left: Pack, single: FloatArray) -> FloatArray:
        """X'WX_e of the pack's terms over sessions of one part."""
        assert self._eliminated is not None  # noqa: S101 - asked where there is one
        codes = self._eliminated[: self.singles]
        counts = two_way(left.codes, codes, single, left.rows, self.eliminated_size + 1)
        return left.fold_left(counts[:, 1:])

    def _add_mixture(
        self, matrix: FloatArray, across: FloatArray, weights: FloatArray, mixture: "Mixture"
    ) -> None:
        weighted = mixture.rows.multiply(weights[self.singles :, None]).tocsr()
        matrix += (weighted.T @ mixture.rows).toarray()
        if self._eliminated is not None:
            codes = self._eliminated[self.singles :]
            several = len(codes)
            into = sparse.csr_matrix(
                (np.ones(several), (np.arange(several), codes)), shape=(several, self.eliminated_size + 1)
            )
            across += (weighted.T @ into).toarray()[:, 1:]

    def leverages(
        self,
        covariance: FloatArray,
        across: FloatArray,
        variance: FloatArray,
        mixture: "Mixture | None",
        sample: NDArray[np.int64],
    ) -> FloatArray:
        """x'Vx of the sampled sessions (ascending), V in parts: (k, k), (k, m) and the diagonal (m,)."""
        single = sample[sample < self.singles]
        parts = []
        found = np.zeros(len(single))
        for left, right in self._pairs():
            block = covariance[np.ix_(left.columns, right.columns)]
            table = _unfold(left, _unfold(right, block.T).T)
            factor = 1.0 if left is right else 2.0
            found += factor * table[left.codes[single], right.codes[single]]
        if self._eliminated is not None:
            codes = self._eliminated[single]
            for pack in self.packs:
                padded = np.hstack([np.zeros((len(pack.columns), 1)), across[pack.columns]])
                found += 2.0 * _unfold(pack, padded)[pack.codes[single], codes]
            found += np.concatenate([[0.0], variance])[codes]
        parts.append(found)
        several = sample[sample >= self.singles] - self.singles
        if mixture is not None and len(several):
            rows = mixture.rows[several].toarray()
            own = np.einsum("ij,ij->i", rows @ covariance, rows)
            if self._eliminated is not None:
                codes = self._eliminated[several + self.singles]
                padded = np.hstack([np.zeros((self.size, 1)), across])
                own += 2.0 * np.einsum("ij,ji->i", rows, padded[:, codes])
                own += np.concatenate([[0.0], variance])[codes]
            parts.append(own)
        return np.concatenate(parts)

    def _pairs(self) -> Iterator[tuple[Pack, Pack]]:
        for i, left in enumerate(self.packs):
            for right in self.packs[i:]:
                yield left, right


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Sessions of several parts: `log_total` (q,) their log means, `rows` (q, k) their rows of X."""

    log_total: FloatArray
    share: FloatArray
    session: NDArray[np.int64]
    rows: sparse.csr_matrix

    @classmethod
    def of(cls, part_rows: sparse.csr_matrix, session: NDArray[np.int64], eta: FloatArray) -> "Mixture":
        """`session` (parts,) is ascending from zero; `eta` (parts,) each part's log mean."""
        starts = np.flatnonzero(np.diff(session, prepend=-1))
        largest = np.maximum.reduceat(eta, starts)
        total = np.add.reduceat(np.exp(eta - largest[session]), starts)
        log_total = largest + np.log(total)
        share = np.exp(eta - log_total[session])
        mixing = sparse.csr_matrix((share, (session, np.arange(len(session)))))
        return cls(log_total, share, session, sparse.csr_matrix(mixing @ part_rows))

    def average(self, values: FloatArray) -> FloatArray:
        """The parts' values averaged by their shares, (q,)."""
        return weighted_counts(self.session, self.share * values, len(self.log_total))


def weighted_counts(codes: NDArray[Any], weights: FloatArray, size: int) -> FloatArray:
    """Weights summed by code, (size,)."""
    # Without a single code NumPy counts in integers.
    return np.bincount(codes, weights, minlength=size).astype(np.float64, copy=False)


def two_way(left: CodeArray, right: CodeArray, weights: FloatArray, rows: int, columns: int) -> FloatArray:
    """Weights summed by pairs of codes, (rows, columns)."""
    # A sparse matrix adds up what falls on one cell, straight from the codes.
    counts: FloatArray = sparse.coo_array((weights, (left, right)), shape=(rows, columns)).toarray()
    return counts


def _own_product(pack: Pack, counts: FloatArray) -> FloatArray:
    if pack.table is None:
        return np.diag(counts[1:])
    return (pack.table.T * counts) @ pack.table


def _unfold(pack: Pack, by_column: FloatArray) -> FloatArray:
    """(k, j) by coefficient to (rows, j) by row of the pack."""
    if pack.table is not None:
        return pack.table @ by_column
    return np.vstack([np.zeros((1, by_column.shape[1])), by_column])


def _packed(terms: Sequence[Encoded]) -> list[Pack]:
    """Terms side by side while their joint codes stay few, or no more than the larger term's own."""
    starts = np.cumsum([0, *(term.size for term in terms)])
    loose = [(term.codes + np.int32(1), term.rows() + 1, [place]) for place, term in enumerate(terms)]
    loose.sort(key=lambda item: item[1])
    most = max(SMALLEST_PACK, int(np.sqrt(len(terms[0].codes))))
    groups: list[tuple[CodeArray, int, list[int]]] = []
    for codes, rows, places in loose:
        for position, (other, other_rows, other_places) in enumerate(groups):
            if max(terms[place].size for place in [*places, *other_places]) > WIDEST_PACKED:
                continue
            joint = _joint(other, codes, other_rows, rows, max(most, rows, other_rows))
            if joint is not None:
                groups[position] = (*joint, other_places + places)
                break
        else:
            groups.append((codes, rows, places))
    return [_pack(group, terms, starts) for group in groups]


def _joint(
    left: CodeArray, right: CodeArray, left_rows: int, right_rows: int, most: int
) -> tuple[CodeArray, int] | None:
    """One code for both, if it takes at most `most` values."""
    cells = np.multiply(left, right_rows, dtype=np.int64)
    cells += right
    # A glance at the first rows saves counting pairs that will not do.
    if len(np.unique(cells[: 4 * most])) > most:
        return None
    met = np.bincount(cells, minlength=left_rows * right_rows) > 0
    if int(met.sum()) > most:
        return None
    return (np.cumsum(met) - 1).astype(np.int32)[cells], int(met.sum())


def _pack(
    group: tuple[CodeArray, int, list[int]], terms: Sequence[Encoded], starts: NDArray[np.int64]
) -> Pack:
    codes, rows, places = group
    places = sorted(places)
    columns = np.concatenate([np.arange(starts[place], starts[place + 1]) for place in places])
    if len(places) == 1 and terms[places[0]].table is None:
        return Pack(codes, rows, None, columns)
    # The row of any observation with a code is the row of the code.
    example = np.zeros(rows, dtype=np.int64)
    example[codes] = np.arange(len(codes))
    tables = [terms[place].at(example).spread(np.eye(terms[place].size)) for place in places]
    return Pack(codes, rows, np.concatenate(tables, axis=1), columns)
