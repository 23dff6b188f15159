"""Whether samples come, from every channel named, and look like what they are said to be."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from edge.checking.finding import Finding, fault, raised
from edge.clock import Clock
from edge.daemon.looking import Look, look, opened
from edge.measure.flags import flag_words
from edge.measure.windows import ABSENT, WindowTable
from edge.quantities import STATES, Flag
from edge.settings import Settings, decision_plan

LOOK_S = 4.0
"""Signal looked at: twenty windows."""

TODO: dict[Flag, str] = {
    Flag.SENSOR_FAULT: "the sensor is open, shorted or dead: earth the ring, then check its lead",
    Flag.SATURATED: "it stands at the converter's end: check range and polarity of the sensor",
    Flag.NO_FREQUENCY: "no mains in it: is the line in service, is the voltage lead connected?",
    Flag.MISSING: "values are absent: see what the sensor unit says of this channel",
    Flag.NOT_FINITE: "values are no numbers: see what the sensor unit says of this channel",
    Flag.GAP: "samples are lost on the way: check the lead and the baud rate",
    Flag.REFERENCE_DOUBTFUL: "the voltage does not look like one: check its channel",
    Flag.VOLTAGE_ABNORMAL: "the voltage is outside its band: check ratio and site.nominal_kv",
}
"""What to do about each flag that a sound unit does not have while it is looked at."""


def sensor_findings(settings: Settings, base: Path, clock: Clock) -> Iterator[Finding]:
    """The source, then each insulator's sensor."""
    try:
        source = opened(settings, base, clock)
    except (OSError, ValueError) as cause:
        yield raised("sensors", cause)
        return
    try:
        decision_plan(settings, source.description.rate_hz)
        seen = look(settings, source, clock.utc_us(), LOOK_S)
    except (OSError, ValueError) as cause:
        yield raised("sensors", cause)
        return
    finally:
        source.close()
    rate_hz = source.description.rate_hz
    found = f"{len(source.description.channels)} channels at {rate_hz:g} Hz"
    if not seen.rows:
        yield fault("sensors", f"{found}, but no samples: {seen.end}", "check supply and lead")
        return
    yield Finding("sensors", f"{found}, {seen.rows / rate_hz:.1f} s of samples came")
    for insulator in settings.insulator:
        yield insulator_finding(insulator.id, seen)


def insulator_finding(name: str, seen: Look) -> Finding:
    """What one sensor reads."""
    what, table = f"insulator {name}", seen.windows.get(name)
    if table is None or not len(table):
        return fault(what, "no window of it", "let the unit run for longer, then check again")
    words = {word for bits in set(table.flags.tolist()) for word in flag_words(bits)}
    found = _reading(table)
    for flag, todo in TODO.items():
        if flag.value in words:
            return fault(what, f"{found}, {flag.value}", todo)
    return Finding(what, found)


def _reading(table: WindowTable) -> str:
    state = STATES[int(np.bincount(table.state).argmax())].value
    peak_ma = int(table.peak_ua.max()) / 1e3
    told = table.frequency_millihz[table.frequency_millihz != ABSENT]
    hz = f"{np.median(told) / 1e3:.2f} Hz" if len(told) else "no frequency"
    return f"{state}, peak {peak_ma:.3f} mA, {hz}"
