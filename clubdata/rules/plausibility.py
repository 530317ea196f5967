"""Which figures of a return to look at before they are used. A question asks, and never refuses.

Where no source is named, a limit is common practice without a published source.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from clubdata.rules.water_rules import WaterRules, is_among


@dataclass(frozen=True, slots=True)
class LengthWeight:
    """Weight in grams = a * (length in cm) ** b."""

    a: float
    b: float

    def weight_g(self, length_cm: float) -> float:
        return float(self.a * length_cm**self.b)


# By FAO ASFIS code. Perch, common bream and roach: fish of Lake Längelmävesi weighed in 1917 (JSE Data
# Archive 'fishcatch'; the perch also `Stat2Data::Perch`), log weight on log total length, n 56, 34 and 19.
# Tench: Balik et al. 2009, J. Appl. Ichthyol., fork lengths of 9 to 37 cm; a total length is some hundredths
# longer, which the margin below holds. All b lie in the 2.5 to 3.5 of Froese 2006, J. Appl. Ichthyol. 22:241.
LENGTH_WEIGHT: Final[Mapping[str, LengthWeight]] = {
    "FPE": LengthWeight(0.00622713, 3.16268783),
    "FBM": LengthWeight(0.00714220, 3.10927564),
    "FRO": LengthWeight(0.00657020, 3.10815137),
    "FTE": LengthWeight(0.0151, 2.9993),
}
#: A fish of so many times what its length says, or less than the inverse, is asked about.
TIMES_BY_LENGTH: Final = 2.0
#: Small fish are weighed on scales that tell ounces: a difference of no more than one is none.
SCALES_TELL_G: Final = 30
#: Weights of a complete list of species may differ from the total by so much of it: nets drip, scales differ.
SHARE_OF_TOTAL: Final = 0.1
LONGEST_SESSION_HOURS: Final = 24
#: Dawn and dusk together, for which it is light without the Sun.
TWILIGHT_HOURS: Final = 2.0

PREFIX: Final = "Please check the figure:"


@dataclass(frozen=True, slots=True)
class CaughtLine:
    """The catch of one species; `fao_code` is empty where the species has none."""

    species: str
    fao_code: str = ""
    heaviest_g: int | None = None
    fish_count: int | None = None
    weight_g: int | None = None
    biggest_g: int | None = None
    biggest_length_cm: float | None = None


@dataclass(frozen=True, slots=True)
class Spell:
    """What a part was fished with, by the club's names, empty where not told; diameters in millimetres."""

    method: str = ""
    hook_bait: str = ""
    feed: str = ""
    main_line_mm: float | None = None
    hooklength_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Session:
    """A return's figures. `daylight_hours` is the time for which the Sun was up on its day at its water."""

    is_match: bool
    daylight_hours: float
    hours: float | None = None
    rods: int = 1
    weight_g: int | None = None
    fish_count: int | None = None
    lines: tuple[CaughtLine, ...] = ()
    spells: tuple[Spell, ...] = ()
    rules: WaterRules = field(default_factory=WaterRules)


@dataclass(frozen=True, slots=True)
class Question:
    """A stable code, the field asked about, a sentence, and the figures with units in their names."""

    code: str
    field: str
    sentence: str
    facts: Mapping[str, Any]


def questions_about(session: Session) -> tuple[Question, ...]:
    """What to look at, each code once a field."""
    return (
        *_of_fish(session),
        *_of_totals(session),
        *_of_hours(session),
        *_of_tackle(session),
        *_of_rules(session),
    )


def _question(code: str, field_name: str, sentence: str, **facts: Any) -> Question:
    return Question(code, field_name, f"{PREFIX} {sentence}", facts)


# --- Fish ---------------------------------------------------------------------------------------------


def _of_fish(session: Session) -> Iterator[Question]:
    for place, line in enumerate(session.lines):
        yield from _against_length(line, f"catch.{place}.biggest")
        yield from _against_heaviest(line, place)


def _against_length(line: CaughtLine, field_name: str) -> Iterator[Question]:
    relation = LENGTH_WEIGHT.get(line.fao_code)
    if relation is None or not line.biggest_g or not line.biggest_length_cm:
        return
    expected_g = relation.weight_g(line.biggest_length_cm)
    is_off = not expected_g / TIMES_BY_LENGTH <= line.biggest_g <= expected_g * TIMES_BY_LENGTH
    if is_off and abs(line.biggest_g - expected_g) > SCALES_TELL_G:
        yield _question(
            "weight_for_length",
            field_name,
            f"the biggest {line.species} is given as {line.biggest_g:,} g at {line.biggest_length_cm:g} cm; "
            f"by its length it would weigh about {expected_g:,.0f} g.",
            species=line.species,
            biggest_g=line.biggest_g,
            biggest_length_cm=line.biggest_length_cm,
            expected_g=round(expected_g, 1),
        )


def _against_heaviest(line: CaughtLine, place: int) -> Iterator[Question]:
    most = line.heaviest_g
    if most is None:
        return
    asks = f"the club asks about a {line.species} of more than {most:,} g."
    if line.biggest_g is not None and line.biggest_g > most:
        yield _question(
            "above_heaviest",
            f"catch.{place}.biggest",
            f"the biggest is given as {line.biggest_g:,} g; {asks}",
            species=line.species,
            biggest_g=line.biggest_g,
            heaviest_g=most,
        )
    if line.weight_g and line.fish_count and line.weight_g / line.fish_count > most:
        mean_g = line.weight_g / line.fish_count
        yield _question(
            "average_above_heaviest",
            f"catch.{place}.weight",
            f"{line.weight_g:,} g of {line.fish_count} fish is {mean_g:,.0f} g each; {asks}",
            species=line.species,
            weight_g=line.weight_g,
            fish_count=line.fish_count,
            average_g=round(mean_g, 1),
            heaviest_g=most,
        )


# --- The total ----------------------------------------------------------------------------------------


def _of_totals(session: Session) -> Iterator[Question]:
    if not session.weight_g or not session.lines:
        return
    weights = [line.weight_g for line in session.lines if line.weight_g is not None]
    lines_g, slack_g = sum(weights), SHARE_OF_TOTAL * session.weight_g + SCALES_TELL_G
    facts = {"lines_g": lines_g, "weight_g": session.weight_g}
    if lines_g > session.weight_g + slack_g:
        said = f"the species weigh {lines_g:,} g together, the whole catch {session.weight_g:,} g."
        yield _question("species_above_total", "catch", said, **facts)
    elif _lists_every_fish(session) and lines_g < session.weight_g - slack_g:
        said = f"all the fish weigh {lines_g:,} g by species, the whole catch {session.weight_g:,} g."
        yield _question("species_below_total", "catch", said, **facts)
    for place, line in enumerate(session.lines):
        if line.weight_g is None and line.biggest_g is not None and line.biggest_g > session.weight_g:
            yield _question(
                "biggest_above_total",
                f"catch.{place}.biggest",
                f"the biggest {line.species} is given as {line.biggest_g:,} g, the whole catch "
                f"as {session.weight_g:,} g.",
                species=line.species,
                biggest_g=line.biggest_g,
                weight_g=session.weight_g,
            )


def _lists_every_fish(session: Session) -> bool:
    """Whether all lines are weighed and counted, and the count is the session's: no species is left out."""
    if any(line.weight_g is None or line.fish_count is None for line in session.lines):
        return False
    counted = sum(line.fish_count or 0 for line in session.lines)
    return session.fish_count is not None and counted >= session.fish_count


# --- How long -----------------------------------------------------------------------------------------


def _of_hours(session: Session) -> Iterator[Question]:
    hours = session.hours
    if hours is None:
        return
    light = round(session.daylight_hours, 2)
    facts = {"hours": hours, "daylight_hours": light}
    may_be_night = session.rules.night_fishing
    if hours > LONGEST_SESSION_HOURS:
        said = f"{hours:g} hours are longer than a day and a night."
        yield _question("hours_above_a_day", "hours", said, **facts)
    elif session.is_match and not may_be_night and hours > light:
        said = f"a match of {hours:g} hours on a day of {light:g} hours of daylight."
        yield _question("match_beyond_daylight", "hours", said, **facts)
    elif may_be_night is False and hours > light + TWILIGHT_HOURS:
        said = f"{hours:g} hours on a day of {light:g} hours of daylight; this water is not fished by night."
        yield _question("hours_beyond_daylight", "hours", said, **facts)


# --- With what ----------------------------------------------------------------------------------------


def _of_tackle(session: Session) -> Iterator[Question]:
    for place, spell in enumerate(session.spells):
        line, hooklength = spell.main_line_mm, spell.hooklength_mm
        if line is not None and hooklength is not None and hooklength > line:
            yield _question(
                "hooklength_above_main_line",
                f"parts.{place}.hooklength_mm",
                f"a hooklength of {hooklength:g} mm on a main line of {line:g} mm; the hooklength is "
                "usually the weaker of the two.",
                hooklength_mm=hooklength,
                main_line_mm=line,
            )


def _of_rules(session: Session) -> Iterator[Question]:
    rules = session.rules
    for place, spell in enumerate(session.spells):
        for name, word, barred in (
            ("method", spell.method, rules.methods_not_allowed),
            ("hook_bait", spell.hook_bait, rules.hook_baits_not_allowed),
            ("feed", spell.feed, rules.feeds_not_allowed),
        ):
            if word and is_among(word, barred):
                said = (
                    f"'{word}' is given as the {name.replace('_', ' ')}; this water's rules do not allow it."
                )
                yield _question(f"{name}_not_allowed", f"parts.{place}.{name}", said, **{name: word})
    if rules.most_rods is not None and session.rods > rules.most_rods:
        said = f"{session.rods} rods are given; this water's rules allow {rules.most_rods}."
        yield _question("more_rods_than_allowed", "rods", said, rods=session.rods, most_rods=rules.most_rods)
