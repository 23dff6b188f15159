"""The electrical face of the surfaces: what the film conducts, what stands across a dry band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.surface import Body, Surface
from edge.sense.virtual_site.wetting import brine_conductivity_s_m

Floats = npt.NDArray[np.float64]

WAIST_SHARE = 0.12
"""Resistance of the wet waist against the rest of the path."""
FILM_WHOLE_UM = 6.0
"""Thickness at which half of a hydrophilic surface carries an unbroken film (design choice)."""

ROOT_CONSTRICTION = 2.5
"""An arc's root is a point: the film in series with it counts so many times (design choice)."""
JOINED_BELOW = 0.75
JOINED_SPAN = 0.50
"""Drops begin to join below this hydrophobicity, are one film this much lower (design choice)."""
BAND_BELOW = 0.45
BAND_SPAN = 0.40
"""Water of the waist against the main surface at which it begins to be dry, and how much less makes
it dry all round (design choice)."""
BEADS_UM = 8.0
"""Water at which a beaded surface is fully under drops (design choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class Film:
    """The electrical face of a surface: shape (insulators,) each.

    whole_s: conductance of the path without a dry band. parallel_s: what is left beside the band.
    banded_s: conductance in series with an arc across the band. dry_share: share of the waist's
    girth that is dry. band_share: share of the voltage across the
    waist. beaded: share of the surface under separate drops.
    """

    whole_s: Floats
    parallel_s: Floats
    banded_s: Floats
    dry_share: Floats
    band_share: Floats
    beaded: Floats


def film_of(body: Body, surface: Surface, air_c: float) -> Film:
    """What the surfaces offer to the current now."""
    water = np.maximum(surface.water_um, 1e-3)
    sheet_s = 1e-6 * water * brine_conductivity_s_m(10_000.0 * surface.salt_mg_cm2 / water, air_c)
    joined = np.clip((JOINED_BELOW - surface.hydrophobicity) / JOINED_SPAN, 0.0, 1.0) ** 1.5
    unbroken = water**3 / (water**3 + FILM_WHOLE_UM**3)
    whole_s = np.where(surface.dissolved, sheet_s * joined * unbroken / body.form_factor, 0.0)
    dry_share = np.clip((BAND_BELOW - surface.waist_um / water) / BAND_SPAN, 0.0, 1.0)
    wet_share = 1.0 - dry_share
    return Film(
        whole_s=whole_s,
        parallel_s=whole_s * wet_share * (1.0 + WAIST_SHARE) / (wet_share + WAIST_SHARE),
        banded_s=whole_s * dry_share / ROOT_CONSTRICTION,
        dry_share=dry_share,
        band_share=WAIST_SHARE / (wet_share + WAIST_SHARE),
        beaded=np.where(
            body.silicone, (1.0 - joined) * np.minimum(surface.water_um / BEADS_UM, 1.0), 0.0
        ),
    )
