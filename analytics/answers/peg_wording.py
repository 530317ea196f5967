"""What is said of pegs, in plain and kind words, each by a written rule. No peg is ever called bad."""

from analytics.answers.freshness import FitSummary
from analytics.answers.peg_figures import WhyTheyDiffer

#: Below this chance of being wrong a side of the middle is named.
EITHER_SIDE = 0.4
MOST_TO_ONE = 100
#: Half-way between 1 chance in 3 and 2 in 5; above 2 in 5 no side is named.
NEARER_TWO_IN_FIVE = 11 / 30

WORDING_RULE = (
    "'above' or 'below this water's middle' where the chance that it is not is at most 0.4, said as 1 chance "
    "in the nearest whole number or as 2 chances in 5; otherwise 'about this water's middle'. The "
    "middle is the water's typical peg: the geometric mean of its pegs in use and under no hazard."
)
TYPICAL_PEG = (
    "A multiplier of 1 is this water's typical peg: the geometric mean of its {count} pegs that are in use, "
    "under no standing hazard and known to the fit."
)

PAIR_RULE = (
    "'almost certainly' from a chance of .95, 'probably' from .80, 'rather more likely than not' from .60; "
    "otherwise the returns cannot tell the two apart."
)
_PAIR_WORDS = ((0.95, "almost certainly"), (0.80, "probably"), (0.60, "rather more likely than not"))

#: What makes raw weights differ, as the end of 'the raw figure is higher because …'.
_WHY = {
    "who": ("stronger anglers sat here", "less practised anglers sat here"),
    "match_days": ("it was fished on better match days", "it was fished on slower match days"),
    "season": ("it was fished in better months and years", "it was fished in slower months and years"),
    "conditions": ("wind and water were kinder", "wind and water were less kind"),
    "session_kind": (
        "more of it was in the kind of session that makes more",
        "more of it was in the kind of session that makes less",
    ),
    "tackle": (
        "better baits, rigs and distances were used",
        "baits, rigs and distances that make less were used",
    ),
    "held_back": (
        "its returns say more than the fit yet believes, which leans on pegs in general",
        "its returns say less than the fit gives it, which leans on pegs in general",
    ),
    "heavy_sessions": (
        "a few heavy sessions lift its raw mean",
        "it had fewer heavy sessions than most",
    ),
    "pegs_fished": (
        "the water's rate is more that of its lesser pegs, which are fished more",
        "the water's rate is more that of its better pegs, which are fished more",
    ),
}
#: A part of at least this ratio, up or down, is put into words.
WORTH_A_WORD = 1.05


def stale_note(fit: FitSummary | None) -> tuple[str, ...]:
    """That there are later returns, if there are."""
    if fit is None or not fit.stale:
        return ()
    return ("Returns have come in or changed since this was worked out; a new fit will follow.",)


def middle_words(chance_above: float) -> str:
    """Where a peg lies against the middle and how surely, by `WORDING_RULE`."""
    doubt = min(chance_above, 1.0 - chance_above)
    if doubt > EITHER_SIDE:
        return "about this water's middle: it could lie on either side"
    side = "above" if chance_above > 0.5 else "below"
    return f"{side} this water's middle, {_odds(doubt)} that it isn't"


def _odds(chance: float) -> str:
    if chance < 1.0 / MOST_TO_ONE:
        return f"less than 1 chance in {MOST_TO_ONE}"
    if chance > NEARER_TWO_IN_FIVE:
        return "2 chances in 5"
    return f"1 chance in {round(1.0 / chance)}"


def pair_words(first: str, second: str, chance: float, ratio: float) -> str:
    """Which of two pegs is better, how surely and by how much, by `PAIR_RULE`."""
    better, other, sure, times = (first, second, chance, ratio)
    if chance < 0.5:
        better, other, sure, times = second, first, 1.0 - chance, 1.0 / ratio
    word = next((word for least, word in _PAIR_WORDS if sure >= least), None)
    if word is None:
        return f"These returns cannot tell pegs {first} and {second} apart."
    doubt = _odds(1.0 - sure)
    return (
        f"Peg {better} is {word} better than peg {other}: about {times:.2f} times as much; {doubt} that it "
        "isn't."
    )


def why_words(why: WhyTheyDiffer) -> str:
    """Why raw weight and effect differ, the largest reasons first, and what is left over."""
    parts, raw_ratio, multiplier = why.parts, why.raw_ratio, why.multiplier
    opening = f"Raw, it made {raw_ratio:.2f} times the water's rate; the fit gives it {multiplier:.2f}."
    told = {name: ratio for name, ratio in parts.items() if name in _WHY and ratio > 0}
    large = [name for name in told if max(told[name], 1 / told[name]) >= WORTH_A_WORD]
    if not large:
        return f"{opening} No one reason stands out; left over ×{why.remainder:.2f}."
    large.sort(key=lambda name: -max(told[name], 1 / told[name]))
    reasons = [f"{_WHY[name][told[name] < 1]} (×{told[name]:.2f})" for name in large]
    return f"{opening} Beside the peg itself: {'; '.join(reasons)}; left over ×{why.remainder:.2f}."


EVENNESS_RULE = (
    "'even' where the best peg wins at most 1.5 times as often as the least, 'fairly even' up to 3 times, "
    "otherwise 'uneven'."
)
#: From so many times on no tenths are told, and above so many no number.
TIMES_TO_THE_WHOLE, MOST_TIMES = 10, 100
_EVENNESS_WORDS = ((1.5, "even"), (3.0, "fairly even"))


def evenness_words(pegs: int, effective: float, win_ratio: float | None) -> str:
    """How even a draw is, by `EVENNESS_RULE`."""
    if win_ratio is None:
        return (
            f"Uneven: like a draw on {effective:.1f} equal pegs of {pegs}; some peg won no simulated match."
        )
    word = next((word for most, word in _EVENNESS_WORDS if win_ratio <= most), "uneven")
    return (
        f"{word.capitalize()}: the best peg wins {_times(win_ratio)} times as often as the least; like a "
        f"draw on {effective:.1f} equal pegs of {pegs}."
    )


def _times(ratio: float) -> str:
    """No finer than simulated matches tell it: a hundredth of a percent is one match of ten thousand."""
    if ratio > MOST_TIMES:
        return f"more than {MOST_TIMES}"
    return f"{ratio:.1f}" if ratio < TIMES_TO_THE_WHOLE else f"{ratio:.0f}"
