"""Two invented sites on an invented coast: names, bearings and insulators belong to no real place.

Each tells four stories: a post to the edge (some nights over it), rubber that has aged and arcs on
most nights, a coated post that arcs now and then, and a new unit that stays hydrophobic.
"""

from __future__ import annotations

from edge.sense.virtual_site.plan import ClimatePlan, InsulatorPlan, SitePlan, SurfaceKind

GULLHAVEN = SitePlan(
    name="gullhaven",
    monitor="pole-7",
    voltage_kv=12.7,
    climate=ClimatePlan(coast_faces_deg=285.0, air_c=14.0),
    insulators=(
        InsulatorPlan(
            name="GH1-old-post",
            kind=SurfaceKind.CERAMIC,
            phase="A",
            creepage_cm=38.0,
            form_factor=1.6,
            exposure=1.5,
            salt_mg_cm2=0.045,
            hydrophobicity=0.0,
            hydrophobicity_most=0.0,
            own_pf=24.0,
            full_scale_ma=1_000.0,
            reignition_v=364.0,
        ),
        InsulatorPlan(
            name="GH2-aged-rubber",
            kind=SurfaceKind.COMPOSITE,
            phase="B",
            creepage_cm=62.0,
            form_factor=2.6,
            exposure=1.0,
            salt_mg_cm2=0.02,
            hydrophobicity=0.45,
            hydrophobicity_most=0.5,
            soak_h=2.5,
            own_pf=17.0,
            neighbour_pf=(2.5, 2.0),
        ),
        InsulatorPlan(
            name="GH3-coated-post",
            kind=SurfaceKind.COATED,
            phase="C",
            creepage_cm=50.0,
            form_factor=1.8,
            exposure=0.5,
            salt_mg_cm2=0.006,
            hydrophobicity=0.70,
            hydrophobicity_most=0.8,
            soak_h=6.0,
            own_pf=26.0,
        ),
        InsulatorPlan(
            name="GH4-new-rubber",
            kind=SurfaceKind.COMPOSITE,
            phase="A",
            creepage_cm=66.0,
            form_factor=2.7,
            exposure=1.0,
            salt_mg_cm2=0.03,
            hydrophobicity=0.97,
            hydrophobicity_most=0.97,
            soak_h=30.0,
            own_pf=16.0,
        ),
    ),
)
"""Open to the west, rough: its old post is the one that may flash over."""

TARNHOLM_SPIT = SitePlan(
    name="tarnholm-spit",
    monitor="pole-2",
    voltage_kv=19.1,
    climate=ClimatePlan(
        coast_faces_deg=40.0, air_c=11.0, windiness=0.85, fogginess=1.25, raininess=0.7
    ),
    harmonics=((3, 0.006, 1.2), (5, 0.034, 2.6), (7, 0.014, 0.3), (11, 0.005, 2.2)),
    insulators=(
        InsulatorPlan(
            name="TS1-pin",
            kind=SurfaceKind.CERAMIC,
            phase="B",
            creepage_cm=62.0,
            form_factor=2.0,
            exposure=1.2,
            salt_mg_cm2=0.05,
            hydrophobicity=0.0,
            hydrophobicity_most=0.0,
            own_pf=30.0,
            full_scale_ma=1_000.0,
            reignition_v=400.0,
        ),
        InsulatorPlan(
            name="TS2-glass",
            kind=SurfaceKind.CERAMIC,
            phase="C",
            creepage_cm=88.0,
            form_factor=2.4,
            exposure=0.4,
            salt_mg_cm2=0.004,
            hydrophobicity=0.0,
            hydrophobicity_most=0.0,
            own_pf=34.0,
            neighbour_pf=(4.0, 2.0),
        ),
        InsulatorPlan(
            name="TS3-coated-post",
            kind=SurfaceKind.COATED,
            phase="A",
            creepage_cm=80.0,
            form_factor=2.2,
            exposure=0.6,
            salt_mg_cm2=0.007,
            hydrophobicity=0.66,
            hydrophobicity_most=0.8,
            soak_h=7.0,
            own_pf=28.0,
        ),
        InsulatorPlan(
            name="TS4-new-rubber",
            kind=SurfaceKind.COMPOSITE,
            phase="B",
            creepage_cm=98.0,
            form_factor=3.1,
            exposure=1.0,
            salt_mg_cm2=0.04,
            hydrophobicity=0.95,
            hydrophobicity_most=0.96,
            soak_h=40.0,
            own_pf=18.0,
            fine_full_scale_ma=5.0,
        ),
    ),
)
"""Sheltered but foggy: mild salt, much water."""

SITES = (GULLHAVEN, TARNHOLM_SPIT)
