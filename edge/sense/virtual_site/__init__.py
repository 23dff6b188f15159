"""A seeded physical simulation of a coastal site: a source like any other, the truth beside it.

It shares no code with the detector. README.md in this folder says what it models and what not.
"""

from edge.sense.virtual_site.plan import InsulatorPlan, SitePlan
from edge.sense.virtual_site.plans import GULLHAVEN, SITES, TARNHOLM_SPIT
from edge.sense.virtual_site.site import VirtualSite
from edge.sense.virtual_site.truth import HalfCycleTruth

__all__ = [
    "GULLHAVEN",
    "SITES",
    "TARNHOLM_SPIT",
    "HalfCycleTruth",
    "InsulatorPlan",
    "SitePlan",
    "VirtualSite",
]
