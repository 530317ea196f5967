"""A rig drawn to scale as SVG: float, shot at their positions, hook; our own drawing.

One unit of the drawing is one centimetre of line: the hook hangs at the depth, a shot `above_hook_cm` higher.
Elements carry what they are in `data-` attributes, so that a reader or a test can take them off again.
"""

from html import escape
from itertools import groupby
from typing import Final

from clubdata.rules.rigs import Rig, Shot
from clubdata.rules.tackle import feet_and_inches

#: Above the water, for the bristle and back shot; below the hook, for the bottom.
_ABOVE_CM: Final = 30.0
_BELOW_CM: Final = 10.0
_LINE_X: Final = 24.0
STYLE: Final = (
    "text{font-family:system-ui,sans-serif;fill:#1c2430}"
    ".line{stroke:#55606e;stroke-width:.5}.water{stroke:#2b6ca3;stroke-width:.6;stroke-dasharray:3 2}"
    ".bottom{stroke:#7a5a2f;stroke-width:1.2}.shot{fill:#1c2430}.float{fill:#8a3b00}.hook{fill:none;"
    "stroke:#1c2430;stroke-width:.8}.loop{stroke:#0b5d4b;stroke-width:.6}"
)


def draw_rig(rig: Rig, *, title: str, bait: str = "") -> str:
    """An SVG document of the rig in its depth of water."""
    depth_cm = rig.depth_cm
    height, width = depth_cm + _ABOVE_CM + _BELOW_CM, max(120.0, depth_cm * 0.62)
    letter = round(max(5.0, depth_cm / 26), 2)
    drawn = [
        f'<line class="water" x1="0" x2="{width:g}" y1="0" y2="0"/>',
        f'<line class="bottom" x1="0" x2="{width:g}" y1="{depth_cm:g}" y2="{depth_cm:g}"/>',
        f'<line class="line" x1="{_LINE_X:g}" x2="{_LINE_X:g}" y1="{-_ABOVE_CM:g}" y2="{depth_cm:g}"/>',
        *_float(rig, letter),
        *_shot(rig, letter),
        *_hook(rig, letter, bait),
    ]
    words = escape(title)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 {-_ABOVE_CM:g} {width:g} {height:g}" role="img" '
        f'aria-label="{words}"><title>{words}</title><style>{STYLE}</style>{"".join(drawn)}</svg>'
    )


def _text(x: float, y: float, letter: float, words: str) -> str:
    return f'<text x="{x:g}" y="{y:g}" font-size="{letter:g}">{escape(words)}</text>'


def _float(rig: Rig, letter: float) -> list[str]:
    label = f"float, {rig.load_g:g} g"
    trimming = f"trimming: {' + '.join('No ' + one for one in rig.trimming)}"
    return [
        f'<g class="float" data-part="float" data-load-g="{rig.load_g:g}">'
        f'<rect x="{_LINE_X - 0.4:g}" y="-9" width=".8" height="9"/>'
        f'<ellipse cx="{_LINE_X:g}" cy="5" rx="2" ry="5"/>'
        f'<rect x="{_LINE_X - 0.3:g}" y="10" width=".6" height="8"/></g>',
        _text(_LINE_X + 8, letter + 1, letter, label),
        *([_text(_LINE_X + 8, 2.2 * letter + 1, letter, trimming)] if rig.trimming else []),
    ]


def _shot(rig: Rig, letter: float) -> list[str]:
    drawn, below = [], rig.depth_cm + letter
    for _, same in groupby(sorted((*rig.shot, *rig.back_shot)), key=lambda one: one.above_hook_cm):
        group = list(same)
        drawn += [_one_shot(rig, one, place) for place, one in enumerate(group)]
        at = rig.depth_cm - group[0].above_hook_cm
        # Labels from the hook upwards, none over another.
        label_y = min(at + letter / 3, below - letter * 1.15)
        below = label_y
        name = f"No {group[0].size}" if group[0].size.isdigit() else group[0].size
        many = f"{len(group)} × " if len(group) > 1 else ""
        drawn += [
            f'<line class="line" x1="{_LINE_X + 2:g}" y1="{at:g}" x2="{_LINE_X + 7:g}" '
            f'y2="{label_y - letter / 3:g}"/>',
            _text(_LINE_X + 8, label_y, letter, f"{many}{name} at {round(group[0].above_hook_cm, 1):g} cm"),
        ]
    return drawn


def _one_shot(rig: Rig, one: Shot, place: int) -> str:
    at = rig.depth_cm - one.above_hook_cm
    radius = 0.9 + one.weight_g * 2
    return (
        f'<circle class="shot" data-part="shot" data-size="{escape(one.size)}" '
        f'cx="{_LINE_X + place * 2 * radius:g}" cy="{at:g}" r="{radius:g}"/>'
    )


def _hook(rig: Rig, letter: float, bait: str) -> list[str]:
    depth_cm = rig.depth_cm
    loop = depth_cm - rig.hooklength_cm
    label = f"hook{f', {bait}' if bait else ''}; {feet_and_inches(depth_cm)} of water"
    return [
        f'<line class="loop" data-part="loop" x1="{_LINE_X - 4:g}" x2="{_LINE_X + 1:g}" y1="{loop:g}" '
        f'y2="{loop:g}"/>',
        f'<path class="hook" data-part="hook" data-y="{depth_cm:g}" '
        f'd="M{_LINE_X:g} {depth_cm:g} q0 3 -2 3 q-2 0 -2 -3"/>',
        _text(4, depth_cm + _BELOW_CM - 2, letter, label),
    ]
