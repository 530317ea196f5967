"""A rig as tied, looked over: its arithmetic, how it settles, and what to look at."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from clubdata.rules.rigs import Rig, as_written, falls_evenly, settling, trimming_for
from clubdata.rules.tackle import LEAD_NOT_ALLOWED_G, is_lead_allowed

_SUNK_G = -0.005


@dataclass(frozen=True, slots=True)
class Finding:
    """A stable code and a sentence."""

    code: str
    sentence: str


def check_rig(rig: Rig, *, main_line_mm: float | None, hooklength_mm: float | None) -> dict[str, Any]:
    """Total, rest, pattern in words, stages of settling, the trimming shot still wanted, and findings."""
    return {
        "rig": rig,
        "pattern": as_written(rig.shot),
        "settles": settling(rig) if rig.shot else (),
        "falls_evenly": bool(rig.shot) and falls_evenly(rig),
        "trimming_wanted": trimming_for(rig) if rig.left_g > 0 else (),
        "findings": tuple(_findings(replace(rig), main_line_mm, hooklength_mm)),
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
