"""What moved it: one table of rules, the first that fits counts, proven total by its test."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.trends.moves import Pattern
from gateway.trends.probe import Probe
from gateway.trends.sensor import Sensor


class Cause(StrEnum):
    """Why the response moved; NONE: it did not."""

    NONE = "none"
    DEPOSIT_SITE = "deposit-site"
    HYDROPHOBICITY_REVERSIBLE = "hydrophobicity-reversible"
    HYDROPHOBICITY_LASTING = "hydrophobicity-lasting"
    SINGLE_UNIT = "single-unit"
    SENSOR = "sensor"
    PROBE = "probe"
    CANNOT_TELL = "cannot-tell"


class Recovery(StrEnum):
    """Whether a lowered onset stayed after cleaning rain and 48 dry hours."""

    STAYED = "stayed"
    RETURNED = "returned"
    UNKNOWN = "unknown"


class Way(StrEnum):
    """Which way the current at equal wetness went."""

    UP = "up"
    DOWN = "down"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the rules look at. sensor: self-test. compared: both periods could be compared.
    steps, shifts: who else moved. way: of the step; shift_way: UP where the onset fell.
    either: moved, step and shift not told apart. unsure: neither moved nor steady. explained: a
    wash, a new coating or a renewal came between. probe: whether its reading moved (what is
    compared is then at readings set right). fog_moved: the highest readings moved, too.
    """

    sensor: Sensor
    compared: bool
    steps: Pattern
    way: Way
    shifts: Pattern
    shift_way: Way
    either: bool
    unsure: bool
    recovery: Recovery
    explained: bool
    probe: Probe
    fog_moved: bool


@dataclass(frozen=True, slots=True)
class Rule:
    """name: said in the reasons. A field that is None fits everything."""

    name: str
    cause: Cause
    changed: bool | None
    sensor: tuple[Sensor, ...] | None = None
    compared: bool | None = None
    steps: tuple[Pattern, ...] | None = None
    way: Way | None = None
    shifts: tuple[Pattern, ...] | None = None
    shift_way: Way | None = None
    either: bool | None = None
    unsure: bool | None = None
    recovery: Recovery | None = None
    explained: bool | None = None
    probe: Probe | None = None
    fog_moved: bool | None = None

    def fits(self, evidence: Evidence) -> bool:
        """Whether every field that is given agrees."""
        for name in Evidence.__slots__:
            wanted, is_so = getattr(self, name), getattr(evidence, name)
            if wanted is None:
                continue
            if is_so not in wanted if isinstance(wanted, tuple) else is_so is not wanted:
                return False
        return True


_STILL = (Pattern.STILL,)
_MOVED = (Pattern.ALONE, Pattern.SITE, Pattern.MIXED, Pattern.NO_SIBLINGS)
_ALONE = (Pattern.ALONE,)
_SITE = (Pattern.SITE,)
_NOT_ALONE = (Pattern.STILL, Pattern.SITE, Pattern.MIXED, Pattern.NO_SIBLINGS)
_NOT_SITE = (Pattern.ALONE, Pattern.MIXED, Pattern.NO_SIBLINGS)

RULES: tuple[Rule, ...] = (
    Rule("sensor-dead", Cause.SENSOR, None, sensor=(Sensor.DEAD,)),
    Rule("sensor-level-moved", Cause.SENSOR, None, sensor=(Sensor.FADED, Sensor.RAISED)),
    Rule("not-compared", Cause.CANNOT_TELL, None, compared=False),
    Rule("reading-moved", Cause.PROBE, None, steps=_NOT_ALONE, shifts=_NOT_ALONE,
         probe=Probe.MOVED),
    Rule("reading-or-surfaces", Cause.CANNOT_TELL, None, steps=_NOT_ALONE, shifts=_NOT_ALONE,
         probe=Probe.DOUBTED),
    # A fall of one alone that nobody brought about: the current goes round the sensor.
    Rule("fell-alone", Cause.SENSOR, None, steps=_ALONE, way=Way.DOWN, explained=False,
         shifts=_STILL),
    Rule("fell-without-siblings", Cause.CANNOT_TELL, None, steps=(Pattern.NO_SIBLINGS,),
         way=Way.DOWN, explained=False),
    Rule("fell-in-part", Cause.CANNOT_TELL, None, steps=(Pattern.MIXED,), way=Way.DOWN,
         explained=False),
    Rule("site-moved", Cause.DEPOSIT_SITE, True, steps=_SITE),
    Rule("all-onsets-moved", Cause.PROBE, None, steps=_STILL, shifts=_SITE),
    Rule("onset-moved-with-probe", Cause.PROBE, None, steps=_STILL,
         shifts=(Pattern.NO_SIBLINGS, Pattern.MIXED), fog_moved=True),
    Rule("onset-rose", Cause.CANNOT_TELL, None, steps=_STILL, shifts=_NOT_SITE,
         shift_way=Way.DOWN, explained=False),
    Rule("onset-rose-after-work", Cause.SINGLE_UNIT, True, steps=_STILL, shifts=_NOT_SITE,
         shift_way=Way.DOWN, explained=True),
    Rule("onset-stayed-lower", Cause.HYDROPHOBICITY_LASTING, True, shifts=_ALONE,
         shift_way=Way.UP, recovery=Recovery.STAYED),
    Rule("onset-came-back", Cause.HYDROPHOBICITY_REVERSIBLE, True, shifts=_ALONE,
         shift_way=Way.UP, recovery=Recovery.RETURNED),
    Rule("fell-with-onset", Cause.SENSOR, None, steps=_ALONE, way=Way.DOWN, explained=False),
    Rule("moved-alone", Cause.SINGLE_UNIT, True, steps=_ALONE),
    Rule("moved-untold", Cause.CANNOT_TELL, True, steps=(Pattern.MIXED, Pattern.NO_SIBLINGS)),
    Rule("onset-untold", Cause.CANNOT_TELL, True, shifts=_MOVED),
    Rule("step-or-onset", Cause.CANNOT_TELL, True, either=True),
    Rule("neither-moved-nor-steady", Cause.CANNOT_TELL, None, unsure=True),
    Rule("steady", Cause.NONE, False, steps=_STILL, shifts=_STILL, either=False,
         unsure=False),
)  # fmt: skip


def judged(evidence: Evidence) -> Rule:
    """The first rule that fits; the table is total."""
    return next(rule for rule in RULES if rule.fits(evidence))
