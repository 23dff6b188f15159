"""The situations: which generator makes each recording, with which seed, and why it is kept.

The generators: `tests.families` (a first physics), `tests.second_physics` (one of its own, which
shares no code with it) and `edge.sense.virtual_site` (a whole night of weather, salt and water).
Seeds were chosen by the generators' truth alone, never by what the program says of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from edge.recording.model import FileType, Revision
from tests.families.families import BY_NAME as FIRST
from tests.families.labelled import Kind
from tests.replay.scenes import (
    NIGHT_ROWS,
    Drawn,
    alone,
    clock_step,
    composed,
    forty_ma,
    night,
    with_a_gap,
)
from tests.replay.stretches import Stretch
from tests.second_physics.families import BY_NAME as SECOND


@dataclass(frozen=True, slots=True)
class Situation:
    """One recording. origin: generator and seed, in words. why: what the suite would miss without.

    expected: what a person expects to see and why, from the physics. flags, no_flags: must stand
    in some window, in none. insulator: as its settings name it, "" where it has none.
    """

    name: str
    origin: str
    why: str
    expected: str
    make: Callable[[], tuple[Stretch, ...]]
    revision: Revision = Revision.R2013
    file_type: FileType = FileType.BINARY
    single: bool = False
    flags: tuple[str, ...] = ()
    no_flags: tuple[str, ...] = ("gap", "missing", "saturated", "clock-unsynchronised")
    insulator: str = ""


FOG_S = tuple(60 * minute - 1 for minute in (12, 21, 23, 24, 26, 27))
RAIN_S = tuple(60 * minute - 1 for minute in (65, 67, 69, 71, 75, 86))

_OLD = ("time-zone-assumed",)

SITUATIONS: tuple[Situation, ...] = (
    Situation(
        "dry_calm_50hz",
        "virtual site Gullhaven, seed 3, old post GH1, minute 10 of the night",
        "The rest that everything else is told from; ASCII of revision 1991",
        "A dry post in 67 % humidity. Only the capacitive current flows, 0.1 mA, leading by about "
        "90 degrees: dry throughout, nothing arcs, no alarm. Revision 1991 says neither its time "
        "zone nor the side of the transformer, and the flags say so.",
        lambda: night(3, "GH1-old-post", (600,), 4_800),
        Revision.R1991,
        FileType.ASCII,
        flags=("no-dry-phasor", "unit-assumed", *_OLD),
    ),
    Situation(
        "beaded_with_corona_50hz",
        "tests.families corona-spikes, seed 0",
        "Corona is the commonest thing mistaken for arcs",
        "Drops that do not touch, and corona near the crest of the voltage: spikes of some mA and "
        "tens of microseconds on a capacitive current. No path along the surface, so no film and "
        "no arc: dry, its spiky half-cycles counted apart, never as arcing.",
        Drawn(FIRST["corona-spikes"], 0, 50.0, 1.6, to_s=1.4, rate_hz=6_400.0),
        Revision.R1999,
        flags=("no-dry-phasor", *_OLD),
    ),
    Situation(
        "fog_onset_50hz",
        "virtual site Gullhaven, seed 3, aged rubber GH2, minutes 12 to 27 of the night",
        "A surface on its way from dry to arcing, and a feed of several records",
        "Six records of 0.43 s. Dry before the fog; a film of 0.9, 1.5, 2.1 and 13 mA crest as the "
        "fog thickens, sinusoidal and harmless: wet; in the last one the film has dried in a band "
        "and arcs burn in most half-cycles. Between the records lie minutes: gaps, and said so.",
        lambda: night(3, "GH2-aged-rubber", FOG_S, NIGHT_ROWS),
        single=True,
        flags=("gap", "no-dry-phasor"),
        no_flags=("saturated", "clock-unsynchronised"),
    ),
    Situation(
        "rain_wash_50hz",
        "virtual site Gullhaven, seed 5, coated post GH3, minutes 65 to 86 of the night",
        "A current that falls because the salt is washed off, without one arc",
        "Six records of 0.43 s. A film of 17 mA crest in heavy rain falls to 12, 7, 4 and 3 mA "
        "while the surface stays as wet: the rain takes the salt. Afterwards it dries and only the "
        "capacitive current is left. Drops spark on the film; no band forms, nothing arcs.",
        lambda: night(5, "GH3-coated-post", RAIN_S, NIGHT_ROWS),
        single=True,
        flags=("gap", "no-dry-phasor"),
        no_flags=("saturated", "clock-unsynchronised"),
    ),
    Situation(
        "dry_band_arcing_50hz",
        "tests.families dry-band, seed 1",
        "What the program is for, at 50 Hz",
        "Four of five half-cycles of both polarities arc, up to 69 mA, over a film of 3 mA: "
        "arcing-dense throughout. All arcs stay below 100 mA and the arcing alarm's slow path "
        "needs three minutes, so no alarm is due within these seconds.",
        Drawn(FIRST["dry-band"], 1, 50.0, 3.0, to_s=2.6),
        flags=("no-dry-phasor",),
    ),
    Situation(
        "dry_band_arcing_60hz",
        "tests.second_physics dry-band, seed 3",
        "The same at 60 Hz by other physics, 12 cycles a window",
        "More than four of five half-cycles of both polarities arc, up to 71 mA, beside a small "
        "film: dense throughout. No alarm is due yet, for the reasons given at 50 Hz.",
        Drawn(SECOND["dry-band"], 3, 60.0, 2.4, to_s=2.2),
        Revision.R1999,
        flags=("no-dry-phasor", *_OLD),
    ),
    Situation(
        "one_polarity_50hz",
        "tests.families one-polarity, seed 0",
        "Dense is told by either polarity, not by both together",
        "Every positive half-cycle but a few arcs and no negative one does: under half of all "
        "half-cycles, but far over half of one polarity, so arcing-dense. A mean and a second "
        "harmonic come with it.",
        Drawn(FIRST["one-polarity"], 0, 50.0, 1.8, to_s=1.6),
        file_type=FileType.BINARY32,
        flags=("no-dry-phasor",),
    ),
    Situation(
        "sensor_saturated_50hz",
        "tests.families clipped-coarse, seed 0",
        "The true current is higher than any number in the rows",
        "Arcs of 100 to 700 mA on a sensor that ends at 250 mA. More than half of the half-cycles "
        "arc, most of those clip: flagged saturated, counted, and the alarms for over range, near "
        "margin and (three arcs over 100 mA within ten seconds) arcing come at once.",
        Drawn(FIRST["clipped-coarse"], 0, 50.0, 1.6),
        single=True,
        flags=("saturated", "no-dry-phasor"),
        no_flags=("gap", "missing", "clock-unsynchronised"),
    ),
    Situation(
        "sample_gap_50hz",
        "tests.second_physics, a plain band with a gap, seed 2",
        "Samples lost in both ways that a record can tell: a jump of the number, missing values",
        "Arcs go on through 30 ms whose values are marked missing and 0.37 s that never came. "
        "What was not sampled is neither arcing nor quiet: no row covers the gap, the rows about "
        "it are flagged, and the arcs on both sides count as they are.",
        lambda: alone(composed("sample-gap", Kind.ARCING, 2, 2.4, with_a_gap)),
        flags=("gap", "missing", "no-dry-phasor"),
        no_flags=("saturated", "clock-unsynchronised"),
    ),
    Situation(
        "clock_step_50hz",
        "tests.second_physics wet-sinusoid, seed 4, dated anew half way",
        "A clock that is set right must not make or hide anything",
        "A steady film. The first record's clock is in holdover (within a second), the second's is "
        "locked and 2.5 s further on. A record can tell such a step only as a gap of 2.5 s, and so "
        "the rows say; the first rows are flagged unsynchronised. Wet before and after, no alarm.",
        clock_step,
        single=True,
        flags=("gap", "clock-unsynchronised", "no-dry-phasor"),
        no_flags=("saturated", "missing"),
    ),
    Situation(
        "switching_transient_50hz",
        "tests.families switching, seed 3",
        "Ringing of several mA, gone within milliseconds, is no arc",
        "A film of 2 mA and, when a capacitor is switched somewhere, rings of 0.25 to 2 kHz. They "
        "begin at any phase and outlive voltage zeros, as no arc does: wet, not arcing.",
        Drawn(FIRST["switching"], 3, 50.0, 1.2, to_s=1.0, rate_hz=10_000.0),
        flags=("no-dry-phasor",),
    ),
    Situation(
        "flashover_and_trip_50hz",
        "tests.second_physics to-flashover-clipped, seed 1",
        "Current that vanishes within two seconds of arcing is not back to normal",
        "Arcs grow from 20 mA past the end of the sensor at 250 mA, the insulator flashes over, "
        "the line trips and nothing is left. De-energised at the end, and flashover or trip "
        "suspected; before it near margin, over range and, by its fast path, arcing.",
        Drawn(SECOND["to-flashover-clipped"], 1, 50.0, 3.2, from_s=0.4),
        flags=("saturated", "no-dry-phasor"),
        no_flags=("gap", "missing", "clock-unsynchronised"),
    ),
    Situation(
        "no_reference_60hz",
        "tests.second_physics bursts without voltage, seed 2",
        "Everything but phase and energy works on the current alone",
        "No voltage channel. Bursts of arcs over a film of 1.4 mA: two of three half-cycles arc, "
        "dense within the bursts. Phase and energy stay empty, and the flags say why.",
        Drawn(SECOND["bursts"], 2, 60.0, 2.0, with_voltage=False),
        flags=("no-reference",),
    ),
    Situation(
        "two_ranges_50hz",
        "tests.families two-ranges, seed 3",
        "Two ranges of one sensor are one insulator, and its settings say so",
        "A fine range to 5 mA and a coarse one to 250 mA of the same current: one insulator. "
        "Single arcs up to 144 mA, three in a window: arcing-sparse. The fine range clips, which "
        "is flagged and is no over-range, for the coarse one took over. Arcs over 100 mA: near "
        "margin, and arcing by its fast path.",
        Drawn(FIRST["two-ranges"], 3, 50.0, 1.6),
        flags=("fine-range-clipped", "no-dry-phasor"),
        insulator="LP1-A",
    ),
    Situation(
        "large_wet_sinusoid_50hz",
        "tests.second_physics, a film of 40 mA, seed 1",
        "A large sinusoid is not an arcing alarm",
        "40 mA crest through a film without a band: sinusoidal, in phase with the voltage, "
        "harmless. Wet throughout; pulses over 20 mA are counted as context and no alarm is due.",
        lambda: alone(composed("forty-ma", Kind.HARMLESS, 1, 1.4, forty_ma)),
        file_type=FileType.FLOAT32,
        flags=("no-dry-phasor",),
    ),
    Situation(
        "third_harmonic_wet_50hz",
        "tests.families third-harmonic, seed 0",
        "Odd harmonics come from the supply, too",
        "A film of 18 mA with several per cent of third harmonic that no arc made: smooth, the "
        "same in every cycle, without ignition. Wet throughout, not arcing.",
        Drawn(FIRST["third-harmonic"], 0, 50.0, 1.6, to_s=1.4),
        flags=("no-dry-phasor",),
    ),
)

BY_NAME: dict[str, Situation] = {one.name: one for one in SITUATIONS}
assert len(BY_NAME) == len(SITUATIONS)
