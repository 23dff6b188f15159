"""Inks, hatches and sizes of the pictures: quiet, told apart in grey, no meaning in hue alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from edge.quantities import State

PAPER, INK, MUTED, FAINT = "#F4F5F6", "#1B1F23", "#4A5157", "#B9BFC4"
MIDDLE, SHADE = "#7C868E", "#D5DADE"
BLUE = "#0B5CA8"
"""Of limits only; they are dashed and labelled besides."""

WIDTH_IN, DPI = 11.0, 130


@dataclass(frozen=True, slots=True)
class Fill:
    """How a state is filled: a grey of its own, or a hatch."""

    face: str
    hatch: str = ""


FILLS = {
    State.DRY: Fill("#FFFFFF"),
    State.WET: Fill("#C3CAD0"),
    State.ARCING_SPARSE: Fill(MIDDLE),
    State.ARCING_DENSE: Fill(INK),
    State.DE_ENERGISED: Fill("#FFFFFF", "////"),
    State.UNKNOWN: Fill("#FFFFFF", "...."),
}

STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "figure.facecolor": PAPER,
    "axes.facecolor": "#FFFFFF",
    "axes.edgecolor": FAINT,
    "axes.labelcolor": MUTED,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "text.parse_math": False,  # an insulator's name may hold a dollar sign
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.major.size": 3,
    "ytick.major.size": 3,
    "hatch.linewidth": 0.6,
    "hatch.color": MUTED,
    "legend.frameon": False,
    "legend.fontsize": 8,
    "legend.handlelength": 1.8,
    "legend.borderaxespad": 0.2,
}
