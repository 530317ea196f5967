"""A rig as tied, looked over: its arithmetic, how it settles, and what to look at."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from clubdata.rules.rigs import Rig, as_written, falls_evenly, settling, trimming_for
from clubdata.rules.situation import class_of
from clubdata.rules.tackle import HOOKS_FOR, LEAD_NOT_ALLOWED_G, is_lead_allowed, lightest_elastic

_SUNK_G = -0.005


@dataclass(frozen=True, slots=True)
class Finding:
    """A stable code and a sentence."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Tied:
    """What else is tied and expected, as far as it is told: millimetres, sizes as numbered, grams."""

    main_line_mm: float | None = None
    hooklength_mm: float | None = None
    hook_size: int | None = None
    hook_bait: str = ""
    elastic: int | None = None
    biggest_expected_g: int | None = None


def check_rig(rig: Rig, tied: Tied) -> dict[str, Any]:
    """Total, rest, pattern in words, stages of settling, the trimming shot still wanted, and findings."""
    return {
        "rig": rig,
        "pattern": as_written(rig.shot),
        "settles": settling(rig) if rig.shot else (),
        "falls_evenly": bool(rig.shot) and falls_evenly(rig),
        "trimming_wanted": trimming_for(rig) if rig.left_g > 0 else (),
        "findings": (*_findings(rig, tied.main_line_mm, tied.hooklength_mm), *_of_tackle(tied)),
    }


def _findings(rig: Rig, main_line_mm: float | None, hooklength_mm: float | None) -> Iterator[Finding]:
    if rig.left_g < _SUNK_G:
        over = -rig.left_g
        yield Finding("sinks", f"The shot are {over:.2f} g more than the float carries: it sinks.")
    if main_line_mm is not None and hooklength_mm is not None and hooklength_mm >= main_line_mm:
        yield Finding(
            "hooklength_not_finer",
            f"A hooklength of {hooklength_mm:g} mm is no finer than a main line of {main_line_mm:g} mm: "
            "if anything breaks it should be the hooklength.",
        )
    if rig.hooklength_cm >= rig.depth_cm:
        yield Finding("hooklength_too_long", "The hooklength is longer than the water is deep.")
    below = [one for one in rig.shot if one.above_hook_cm < rig.hooklength_cm - 0.05]
    if below:
        yield Finding(
            "shot_on_the_hooklength", "A shot on the hooklength weakens it: move it above the loop."
        )
    if heavy := sorted({one.size for one in rig.shot if not is_lead_allowed(one.weight_g)}):
        least, most = LEAD_NOT_ALLOWED_G
        yield Finding(
            "lead_not_allowed",
            f"Of size {', '.join(heavy)} only other metals: lead above {least:g} g and up to {most:g} g may "
            "not be used in England and Wales (SI 1986/1992). Local byelaws and the fishery's rules come "
            "first.",
        )


def _of_tackle(tied: Tied) -> Iterator[Finding]:
    usual = HOOKS_FOR.get(class_of(tied.hook_bait))
    if tied.hook_size is not None and usual is not None and not usual[0] <= tied.hook_size <= usual[1]:
        too = "big" if tied.hook_size < usual[0] else "small"
        yield Finding(
            "hook_unusual_for_bait",
            f"A {tied.hook_size} is {too} for {tied.hook_bait}: {usual[0]} to {usual[1]} is usual "
            "(common practice, no source; numbers fall as hooks grow, and makers differ).",
        )
    if tied.elastic is not None and tied.biggest_expected_g is not None:
        wanted = lightest_elastic(tied.biggest_expected_g)
        if tied.elastic < wanted:
            yield Finding(
                "elastic_light",
                f"For fish of {tied.biggest_expected_g:,} g an elastic of about size {wanted} or more is "
                "usual (common practice, no source; sizes differ between makers).",
            )
