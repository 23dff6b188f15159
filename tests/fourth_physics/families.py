"""All families of this generator, and a recording of one by its seed."""

from __future__ import annotations

from zlib import crc32

import numpy as np

from tests.families.labelled import Labelled
from tests.fourth_physics.burning import BURNING
from tests.fourth_physics.case import Family
from tests.fourth_physics.quiet import QUIET
from tests.fourth_physics.scene import labelled
from tests.fourth_physics.setting import drawn
from tests.fourth_physics.spoilt import SPOILT
from tests.fourth_physics.stage import drawn_stage

FAMILIES: tuple[Family, ...] = QUIET + SPOILT + BURNING

SECONDS = 3.0
"""Length of a recording unless asked otherwise."""


def recording_of(family: Family, seed: int, seconds: float = SECONDS) -> Labelled:
    """The recording of a family and a seed; neighbouring seeds walk through sampling rates."""
    salt = crc32(family.name.encode())
    rng = np.random.default_rng([4, salt, seed])
    setting = family.bend(drawn(rng, salt % 10 + 3 * seed, seconds), rng)
    stage = drawn_stage(setting, rng)
    return labelled(family.name, family.kind, seed, stage, family.paint(stage, rng), rng)
