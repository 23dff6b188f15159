"""What to do: one table of rules, the first that fits counts, proven total by its test.

Leakage current does not see core and interface faults: 'none indicated' is by the current alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.trends.causes import Cause, Way
from gateway.trends.columns import SurfaceType
from gateway.trends.wash import Verdict

GOOD_SHARE_LEAST = 0.90
"""With less good data in the wet hours nothing is decided (proposal of the trade notes)."""
BASELINE_NIGHTS = 10
"""With fewer wet nights in the reference the insulator is still learning (design choice)."""


class Decision(StrEnum):
    """Exactly one for each insulator."""

    NONE_INDICATED = "none-indicated"
    INSPECT = "inspect"
    WASH = "wash"
    RECOAT = "recoat"
    REPLACE = "replace"
    CANNOT_DECIDE = "cannot-decide"


_EVERY = frozenset(Decision)
ALLOWED: dict[SurfaceType, frozenset[Decision]] = {
    SurfaceType.COMPOSITE: _EVERY - {Decision.RECOAT},
    SurfaceType.COATED_CERAMIC: _EVERY,
    SurfaceType.COATED_GLASS: _EVERY,
    SurfaceType.CERAMIC: _EVERY - {Decision.RECOAT},
    SurfaceType.GLASS: _EVERY - {Decision.RECOAT},
    SurfaceType.UNKNOWN: _EVERY - {Decision.RECOAT, Decision.REPLACE},
}
_COATED = (SurfaceType.COATED_CERAMIC, SurfaceType.COATED_GLASS)
_KNOWN = tuple(one for one in SurfaceType if one is not SurfaceType.UNKNOWN)

WASH_RESERVATION = "a jet wears silicone: wash a composite with reservation"


class Data(StrEnum):
    """Whether the data can carry a decision."""

    GOOD = "good"
    POOR = "poor"  # less than GOOD_SHARE_LEAST in wet hours
    LEARNING = "learning"  # no baseline yet


@dataclass(frozen=True, slots=True)
class Case:
    """What the rules look at. damage: an inspection found erosion or tracking that is not light.
    washed: verdict of the latest wash since the reference began, None where there was none.
    near: a peak of now came near the flashover limit. heavy: it arced for long and for much of the
    wetness. wettable: the latest inspection found the surface wettable."""

    data: Data
    changed: bool | None
    cause: Cause
    way: Way
    type: SurfaceType
    washed: Verdict | None
    damage: bool
    near: bool = False
    heavy: bool = False
    wettable: bool = False


@dataclass(frozen=True, slots=True)
class Advice:
    """name: of the rule. change: what would change the decision. None fits everything."""

    name: str
    decision: Decision
    change: str
    data: tuple[Data, ...] | None = None
    changed: tuple[bool | None, ...] | None = None
    cause: tuple[Cause, ...] | None = None
    way: tuple[Way, ...] | None = None
    type: tuple[SurfaceType, ...] | None = None
    washed: tuple[Verdict | None, ...] | None = None
    damage: tuple[bool, ...] | None = None
    near: tuple[bool, ...] | None = None
    heavy: tuple[bool, ...] | None = None
    wettable: tuple[bool, ...] | None = None

    def fits(self, case: Case) -> bool:
        """Whether every field that is given holds the case's."""
        given = ((getattr(self, one), getattr(case, one)) for one in Case.__slots__)
        return all(wanted is None or is_so in wanted for wanted, is_so in given)


_ALONE = (Cause.SINGLE_UNIT, Cause.CANNOT_TELL)
_HYDROPHOBIC = (Cause.HYDROPHOBICITY_LASTING, Cause.HYDROPHOBICITY_REVERSIBLE)

RULES: tuple[Advice, ...] = (
    Advice("damage-seen", Decision.REPLACE, "a second inspection that finds the damage light",
           type=_KNOWN, damage=(True,)),
    Advice("damage-seen-type-unknown", Decision.INSPECT, "the insulator's type in the register",
           damage=(True,)),
    Advice("learning", Decision.CANNOT_DECIDE, f"{BASELINE_NIGHTS} wet nights of reference",
           data=(Data.LEARNING,)),
    Advice("sensor-doubted", Decision.CANNOT_DECIDE, "a check of sensor, lead and collector",
           cause=(Cause.SENSOR,)),
    Advice("poor-data", Decision.CANNOT_DECIDE,
           f"good data in {GOOD_SHARE_LEAST:.0%} of the wet hours", data=(Data.POOR,)),
    Advice("probe-doubted", Decision.CANNOT_DECIDE, "a check of the humidity probe in fog",
           cause=(Cause.PROBE,)),
    Advice("near-flashover", Decision.INSPECT, "a month without such peaks, or a longer creepage",
           near=(True,)),
    Advice("arcs-heavily", Decision.INSPECT, "a wet season with little arcing", heavy=(True,)),
    Advice("not-known-whether-changed", Decision.CANNOT_DECIDE, "more wet nights",
           changed=(None,)),
    Advice("wettable-seen", Decision.INSPECT, "hydrophobicity seen again after dry days",
           changed=(False,), wettable=(True,)),
    Advice("steady", Decision.NONE_INDICATED, "a change at equal wetness", changed=(False,)),
    Advice("better", Decision.NONE_INDICATED, "a rise at equal wetness",
           cause=(Cause.DEPOSIT_SITE, *_ALONE), way=(Way.DOWN,)),
    Advice("washed-in-vain-coated", Decision.RECOAT, "a later wash that helps",
           cause=(Cause.DEPOSIT_SITE, *_ALONE), type=_COATED, washed=(Verdict.DID_NOT,)),
    Advice("washed-in-vain-alone", Decision.REPLACE, "a later wash that helps",
           cause=(Cause.SINGLE_UNIT,), type=_KNOWN, washed=(Verdict.DID_NOT,)),
    Advice("washed-in-vain", Decision.INSPECT, "a later wash that helps",
           cause=(Cause.DEPOSIT_SITE, *_ALONE), washed=(Verdict.DID_NOT,)),
    Advice("site-dirtier", Decision.WASH, "cleaning rain, or a wash that does not help",
           cause=(Cause.DEPOSIT_SITE,)),
    Advice("alone-worse", Decision.INSPECT, "siblings that follow, or what the inspection finds",
           cause=_ALONE),
    Advice("coating-spent", Decision.RECOAT, "the onset coming back, or hydrophobicity seen",
           cause=(Cause.HYDROPHOBICITY_LASTING,), type=_COATED),
    Advice("hydrophobicity-lower", Decision.INSPECT, "the onset coming back after dry days",
           cause=_HYDROPHOBIC),
    Advice("moved-without-cause", Decision.CANNOT_DECIDE, "a cause", cause=(Cause.NONE,)),
)  # fmt: skip


def advised(case: Case) -> Advice:
    """The first rule that fits; the table is total and keeps to what the type allows."""
    return next(rule for rule in RULES if rule.fits(case))
