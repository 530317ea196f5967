"""How every chart looks: the same sizes on a phone and in print, colours that everyone can tell apart."""

from typing import Final

import matplotlib as mpl

#: Lines are told apart by colour (Okabe and Ito 2008, safe for colour-blind readers), dash and marker.
COLOURS: Final = ("#0072B2", "#D55E00", "#009E73", "#7A3B6E")
DASHES: Final = ("solid", (0, (5, 2)), (0, (1.5, 1.5)), (0, (7, 2, 1.5, 2)))
MARKERS: Final = ("o", "s", "^", "D")
INK: Final = "#1A1A1A"
SOFT: Final = "#555555"
FAINT: Final = "#D5D5D5"
#: Perceived evenly, in grey and by colour-blind readers (Nuñez and others 2018).
SHADES: Final = "cividis"
#: Sizes of letters, in points of 1/72 inch: 8.25 are 11 pixels on a phone.
TITLE_PT: Final = 12.0
TEXT_PT: Final = 9.0
SMALL_PT: Final = 8.25
#: Line height over letter size.
LEADING: Final = 1.35
#: Strokes of the two intervals, in points.
THIN_PT: Final = 1.1
THICK_PT: Final = 4.0

# Set once: nothing else in the process draws, and reading the settings needs no lock.
mpl.rcParams.update(
    {
        # Text stays text: it can be searched, read aloud and drawn by the reader's own font.
        "svg.fonttype": "none",
        "svg.hashsalt": "clubdata",
        # A dollar sign in a word of the club's is a dollar sign.
        "text.parse_math": False,
        "font.family": "sans-serif",
        "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "Helvetica", "sans-serif"],
        "font.size": TEXT_PT,
        "text.color": INK,
        "axes.edgecolor": SOFT,
        "axes.labelcolor": INK,
        "axes.labelsize": TEXT_PT,
        "axes.linewidth": 0.8,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.axisbelow": True,
        "axes.unicode_minus": True,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "xtick.labelsize": SMALL_PT,
        "ytick.labelsize": SMALL_PT,
        "grid.color": FAINT,
        "grid.linewidth": 0.6,
        "legend.fontsize": SMALL_PT,
        "legend.frameon": False,
        "legend.borderpad": 0.2,
        "legend.handlelength": 2.4,
        "legend.columnspacing": 1.2,
        "hatch.linewidth": 0.6,
        "hatch.color": "#9A9A9A",
    }
)
