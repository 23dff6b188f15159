"""The steps of commissioning in their order, as one table: what to do, cautions, questions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from edge.commissioning import dead_line_steps as dead
from edge.commissioning import live_line_steps as live
from edge.commissioning import unit_steps as unit
from edge.commissioning.asking import Kind, Question
from edge.commissioning.outcome import Outcome
from edge.commissioning.visit import Visit


class Caution(Enum):
    """What can hurt somebody, in the words that stand before the step."""

    MONITORING = (
        "This unit only monitors. It is no protection, and nothing that it shows proves that "
        "anything is dead or safe to approach."
    )
    DEAD = (
        "Only on a line that authorised people have switched off, secured, tested dead and "
        "earthed on both sides, under their permit. The utility's rules and local codes govern."
    )
    LEAD = (
        "Never open a collector lead while the ring is not earthed: the full voltage of the "
        "surface current would stand at its end. Earth the ring first, take that earth off last."
    )
    INJECTION = (
        "The injected current can be felt and can hurt: nobody touches ring, foil or leads while "
        "it flows. Use a source with limited energy, and a switch within reach."
    )
    HEIGHT = "Work at height and lifting of tools: as the utility and local codes demand."
    WATER = (
        "Never wet an energised or arcing insulator, and never spray towards anything energised: "
        "it can flash over."
    )
    ENERGISED = (
        "The line is energised. Stay outside the approach distances of the utility's rules; touch "
        "only what is meant to be touched from the ground. Leave at once when it arcs."
    )
    SUPPLY = "The supply may be charged from a panel or battery: fuses out first, then its leads."


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """id: in files of answers. each: once for every insulator. todo: shown before it.

    questions: asked before it is carried out; one left blank leaves the step blank.
    """

    id: str
    title: str
    each: bool
    todo: str
    carry_out: Callable[[Visit], Outcome]
    cautions: tuple[Caution, ...] = ()
    questions: tuple[Question, ...] = ()


def _instrument(key: str, what: str) -> tuple[Question, ...]:
    return (
        Question(key, f"{what}: make, type and serial number"),
        Question(f"{key}_calibrated", "its calibration: date", Kind.DATE, "2026-05-04"),
        Question(f"{key}_due", "and valid until", Kind.DATE, "2027-05-04"),
    )


_ON_TOP = (Caution.DEAD, Caution.HEIGHT, Caution.LEAD)

STEPS: tuple[Step, ...] = (
    Step(
        id="people",
        title="Who commissions, and who witnesses it",
        each=False,
        todo="Two people are needed for everything that follows.",
        carry_out=unit.people,
        cautions=(Caution.MONITORING,),
        questions=(
            Question("fitter", "Name of the fitter"),
            Question("witness", "Name of the witness"),
        ),
    ),
    Step(
        id="instruments",
        title="Instruments",
        each=False,
        todo="Look at the calibration labels of the instruments that are used.",
        carry_out=unit.instruments,
        questions=(
            *_instrument("ammeter", "Reference ammeter of the current source"),
            *_instrument("conductivity_meter", "Conductivity meter for the sprayed water"),
        ),
    ),
    Step(
        id="computer",
        title="Disk, certificates and broker",
        each=False,
        todo="Nothing to do by hand; the service must be stopped: systemctl stop seafret-edge",
        carry_out=unit.computer,
    ),
    Step(
        id="clock",
        title="Clock",
        each=False,
        todo="The antenna or the network's time service must have been there for a while.",
        carry_out=unit.clock,
    ),
    Step(
        id="identity",
        title="The insulator is the one in the settings",
        each=True,
        todo="Read the plate at the insulator, not the drawing.",
        carry_out=dead.identity,
        cautions=_ON_TOP[:2],
        questions=(Question("plate", "Identity as it stands on the plate"),),
    ),
    Step(
        id="noise",
        title="Noise floor",
        each=True,
        todo="All leads fixed as they will stay, ring earthed, nothing injected.",
        carry_out=dead.noise,
        cautions=_ON_TOP,
    ),
    Step(
        id="gain",
        title="Gain at five points",
        each=True,
        todo="Current source and reference ammeter in series from the collector ring to earth. "
        "Take the earth off the ring for the measurement, with the line still earthed.",
        carry_out=dead.gain,
        cautions=(*_ON_TOP, Caution.INJECTION),
    ),
    Step(
        id="saturation",
        title="Saturation",
        each=True,
        todo="As for the gain, above the full scale.",
        carry_out=dead.saturation,
        cautions=(*_ON_TOP, Caution.INJECTION),
    ),
    Step(
        id="bypass-dry",
        title="Nothing passes the collector by: dry",
        each=True,
        todo="A foil band around the sheath above the ring, the source from it to the earthed end "
        "fitting, surface and ring dry and clean.",
        carry_out=dead.bypass_dry,
        cautions=(*_ON_TOP, Caution.INJECTION),
    ),
    Step(
        id="bypass-wet",
        title="Nothing passes the collector by: deliberately wetted",
        each=True,
        todo="As before, with salt water. A wet film around the ring reads low exactly when it "
        "matters, so this step is never left out. Rinse and dry the surface afterwards.",
        carry_out=dead.bypass_wet,
        cautions=(*_ON_TOP, Caution.INJECTION, Caution.WATER),
        questions=(
            Question("conductivity_ms_cm", "Conductivity of the water, mS/cm", Kind.NUMBER, "5"),
        ),
    ),
    Step(
        id="polarity",
        title="Polarity and phase",
        each=True,
        todo="In dry hours, after the line is back in service. From the ground.",
        carry_out=live.polarity,
        cautions=(Caution.ENERGISED,),
    ),
    Step(
        id="dry-phasor",
        title="Dry current",
        each=True,
        todo="In dry hours, from the ground. Without a calibrated dry current one is proposed for "
        "the settings; add it and repeat.",
        carry_out=live.dry_phasor,
        cautions=(Caution.ENERGISED,),
    ),
    Step(
        id="lead-off",
        title="Fail test: collector lead off",
        each=True,
        todo="At the ring's test point, within reach from the earthed side only.",
        carry_out=live.lead_off,
        cautions=(Caution.ENERGISED, Caution.LEAD),
    ),
    Step(
        id="data-lead-off",
        title="Fail test: data lead off",
        each=False,
        todo="At the cabinet.",
        carry_out=unit.data_lead_off,
    ),
    Step(
        id="supply-off",
        title="Fail test: supply off",
        each=False,
        todo="At the cabinet.",
        carry_out=unit.supply_off,
        cautions=(Caution.SUPPLY,),
    ),
    Step(
        id="link",
        title="Uplink, and what is kept while it is away",
        each=False,
        todo="Gateway and broker must run. The unit's own daemon works during this step.",
        carry_out=unit.link,
    ),
    Step(
        id="alarm",
        title="An alarm from the sensor to the control room",
        each=False,
        todo="Call the control room first: a test alarm is coming. Line energised; the source at "
        "the sensor's test input or from the ring to earth.",
        carry_out=unit.alarm,
        cautions=(Caution.ENERGISED, Caution.LEAD, Caution.INJECTION),
    ),
)

BY_ID: dict[str, Step] = {step.id: step for step in STEPS}
assert len(BY_ID) == len(STEPS)
