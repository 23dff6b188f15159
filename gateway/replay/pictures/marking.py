"""A kept waveform judged again alone, so that its arcing half-cycles can be marked."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure import stepping
from edge.measure.plan import Calibration, InsulatorPlan, SensorRange, plan_from_description
from edge.measure.windows import ABSENT, WindowTable
from edge.recording import feed, read_single_file
from edge.records import Capture
from edge.samples import ChannelKind, SampleBlock, SignalDescription

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Marked:
    """A waveform to draw. time_ms: from its trigger. voltage_kv: None without.

    arcs_ms: (begin, end) of each arcing half-cycle.
    """

    trigger: str
    trigger_us: int
    time_ms: Floats
    current_ma: Floats
    voltage_kv: Floats | None
    arcs_ms: tuple[tuple[float, float], ...]


def marked(manifest: Capture, content: bytes) -> Marked:
    """The waveform of a capture's file and what its own windows say of it."""
    record = read_single_file(content, name=manifest.content_sha[:8])
    description = record.description
    items = list(feed([record], block_samples=len(content)))
    (block,) = (item for item in items if isinstance(item, SampleBlock))
    current = _coarse(description)
    calibration = _calibration(record.header_text)
    plan = plan_from_description(description)
    name = description.channels[current].name
    own = InsulatorPlan(
        id=name,
        ranges=(SensorRange(channel=name),),
        phase=description.channels[current].phase,
        calibrations=(calibration,),
    )
    state = stepping.initial(replace(plan, insulators=(own,)), description)
    arcs: list[tuple[float, float]] = []
    for item in items:
        state, found = stepping.step(state, item)
        for _, table in found.windows:
            arcs += _arcs_us(table)
    volts = [i for i, c in enumerate(description.channels) if c.kind is ChannelKind.VOLTAGE]
    start_ms = (manifest.start_us - manifest.trigger_us) / 1e3
    shown = _physical(description, block, current)
    return Marked(
        trigger=manifest.trigger,
        trigger_us=manifest.trigger_us,
        time_ms=np.asarray(start_ms + np.arange(len(shown)) * (1e3 / description.rate_hz)),
        current_ma=shown * calibration.gain + calibration.offset_ma,
        voltage_kv=_physical(description, block, volts[0]) if volts else None,
        arcs_ms=tuple(
            ((begin - manifest.trigger_us) / 1e3, (end - manifest.trigger_us) / 1e3)
            for begin, end in arcs
        ),
    )


def _coarse(description: SignalDescription) -> int:
    """The last current: ranges stand from fine to coarse."""
    kinds = [channel.kind for channel in description.channels]
    return max(i for i, kind in enumerate(kinds) if kind is ChannelKind.CURRENT)


def _physical(description: SignalDescription, block: SampleBlock, column: int) -> Floats:
    channel = description.channels[column]
    taken = block.samples[:, column].astype(np.float64) * channel.gain + channel.offset
    if block.missing is not None:
        taken[block.missing[:, column]] = np.nan
    return np.asarray(taken, np.float64)


def _calibration(header_text: str) -> Calibration:
    """As the file's header text names it."""
    told = dict(line.split(": ", 1) for line in header_text.splitlines() if ": " in line)
    return Calibration(
        id=told["calibration"],
        gain=float(told["calibration gain"]),
        offset_ma=float(told["calibration offset mA"]),
        lag_deg=float(told["calibration lag deg"]),
    )


def _arcs_us(table: WindowTable) -> list[tuple[float, float]]:
    """UTC (begin, end) of the arcing half-cycles of some windows."""
    found = []
    for start_us, bits, first_us, millihz in zip(
        table.start_us.tolist(),
        table.arcing_bits.tolist(),
        table.first_arc_us.tolist(),
        table.frequency_millihz.tolist(),
        strict=True,
    ):
        if not bits or millihz == ABSENT:
            continue
        half_us = 5e8 / millihz
        places = [place for place in range(bits.bit_length()) if bits >> place & 1]
        origin_us = start_us + first_us - places[0] * half_us
        found += [(origin_us + n * half_us, origin_us + (n + 1) * half_us) for n in places]
    return found
