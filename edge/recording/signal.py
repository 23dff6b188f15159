"""From declared channels to the SignalDescription: which are used, and their way to primary."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from edge.quantities import Flag
from edge.recording.faults import RecordingError
from edge.recording.model import AnalogueChannel, FileType, Header, Revision
from edge.samples import (
    CHANNELS_MAX,
    RATE_HZ_MAX,
    RATE_HZ_MIN,
    Channel,
    ChannelKind,
    SignalDescription,
)

_CURRENT_MA = {"a": 1e3, "ma": 1.0, "ua": 1e-3, "\u00b5a": 1e-3, "\u03bca": 1e-3}
"""Unit in lower case to mA. Capitals are loose in practice and no mega-ampere is ever meant."""

_VOLTAGE_KV = {"V": 1e-3, "v": 1e-3, "kV": 1.0, "KV": 1.0, "kv": 1.0, "Kv": 1.0, "MV": 1e3}
"""Unit to kV; here the capital tells mega from milli, and millivolts are no line voltage."""

NOMINAL_BAND_HZ = 5.0
"""A declared frequency this near to 50 or 60 Hz means it: some recorders write a measured one."""

_UNSIGNED_BITS = (8, 10, 12, 14, 16, 18, 20, 24)


@dataclass(frozen=True, slots=True)
class Signal:
    """What of a recording this program uses.

    columns: of each used channel within a row. apart: channels of other units or without scale.
    flags: doubt that holds for every row made from it. warnings: one line of text each.
    """

    description: SignalDescription
    columns: tuple[int, ...]
    apart: tuple[AnalogueChannel, ...]
    flags: tuple[Flag, ...]
    warnings: tuple[str, ...]


def signal_of(header: Header, rate_hz: float, nominal_hz: float | None = None) -> Signal:
    """The signal of a recording sampled at `rate_hz`.

    nominal_hz: mains frequency where the record declares none. RecordingError where nothing is
    usable, or a rate, frequency or number of channels is beyond what the measure takes.
    """
    _check_rate(header, rate_hz)
    names = unique_names(header.analogue)
    used: list[AnalogueChannel] = []
    channels: list[Channel] = []
    apart: list[AnalogueChannel] = []
    warnings: list[str] = []
    for declared, name in zip(header.analogue, names, strict=True):
        channel = _channel(declared, name, header.file_type)
        warnings += _remarks(header, declared, name, channel is not None)
        if channel is None:
            apart.append(declared)
        else:
            used.append(declared)
            channels.append(channel)
    _check_channels(header, channels)
    if header.revision is Revision.R1991 and header.file_type is FileType.BINARY:
        warnings.append(
            f"{header.name}: in revision 1991 the code 0xFFFF means missing, so a true -1 is lost"
        )
    return Signal(
        SignalDescription(rate_hz, _nominal(header, nominal_hz), tuple(channels)),
        tuple(declared.column for declared in used),
        tuple(apart),
        _flags(header, used),
        tuple(warnings),
    )


def _remarks(header: Header, declared: AnalogueChannel, name: str, is_used: bool) -> list[str]:
    """What a person should know of a channel, a line each."""
    remarks = []
    if name != declared.name:
        fault = "a doubled" if declared.name else "no"
        remarks.append(f"channel {declared.number} has {fault} name; it is called {name!r}")
    if not is_used:
        remarks.append(
            f"channel {name!r} in unit {declared.unit!r} with factor {declared.a:g} is left out; "
            "A, mA, uA, V, kV or MV is used"
        )
    elif declared.skew_us:
        remarks.append(f"channel {name!r} is skewed by {declared.skew_us:g} us; not undone")
    return [f"{header.name}: {remark}" for remark in remarks]


def _flags(header: Header, used: list[AnalogueChannel]) -> tuple[Flag, ...]:
    zone = (Flag.TIME_ZONE_ASSUMED,) if header.zone_assumed else ()
    side = any(declared.is_secondary is None for declared in used)
    return zone + ((Flag.UNIT_ASSUMED,) if side else ())


def unique_names(channels: tuple[AnalogueChannel, ...]) -> tuple[str, ...]:
    """Names with the channel number appended wherever one is empty or doubled."""
    names = [channel.name for channel in channels]
    counts = Counter(names)
    for index, channel in enumerate(channels):
        if not channel.name or counts[channel.name] > 1:
            names[index] = "-".join(filter(None, (channel.name, str(channel.number))))
    taken: set[str] = set()
    for index, channel in enumerate(channels):
        while names[index] in taken:
            names[index] += f"-{channel.column + 1}"
        taken.add(names[index])
    return tuple(names)


def _channel(declared: AnalogueChannel, name: str, file_type: FileType) -> Channel | None:
    """The channel scaled to primary mA or kV; None for another unit or without scale."""
    per_unit = _CURRENT_MA.get(declared.unit.lower())
    kind = ChannelKind.VOLTAGE if per_unit is None else ChannelKind.CURRENT
    per_unit = _VOLTAGE_KV.get(declared.unit) if per_unit is None else per_unit
    if per_unit is None:
        return None
    ratio = declared.primary / declared.secondary if declared.is_secondary else 1.0
    gain, offset = declared.a * ratio * per_unit, declared.b * ratio * per_unit
    if gain == 0 or not (math.isfinite(gain) and math.isfinite(offset)):
        return None
    raw_min, raw_max = converter_ends(declared.code_min, declared.code_max, file_type)
    return Channel(
        name=name,
        kind=kind,
        phase=declared.phase,
        gain=gain,
        offset=offset,
        raw_min=raw_min,
        raw_max=raw_max,
    )


def converter_ends(
    code_min: float, code_max: float, file_type: FileType
) -> tuple[float | None, float | None]:
    """The declared range, where it looks like the ends of a converter; else (None, None).

    Taken: an integer format and a highest code of 2**n - 1 with a lowest of -2**n or 1 - 2**n
    (signed, 8 bits or more), or with 0 for the customary widths of unsigned converters. Anything
    else (0 to 0, -99999 to 99998, the extremes of this very record) is a formality or a guess.
    """
    if file_type is FileType.FLOAT32 or not code_max.is_integer() or not 0 < code_max < 2**32:
        return None, None
    bits = int(code_max).bit_length()
    if int(code_max) != (1 << bits) - 1:
        return None, None
    signed = bits >= 7 and code_min in (-code_max, -code_max - 1)
    unsigned = bits in _UNSIGNED_BITS and code_min == 0
    return (code_min, code_max) if signed or unsigned else (None, None)


def _check_rate(header: Header, rate_hz: float) -> None:
    if not RATE_HZ_MIN <= rate_hz <= RATE_HZ_MAX:
        raise RecordingError(
            header.name,
            f"sampling rate is {rate_hz:g} Hz",
            f"{RATE_HZ_MIN:g} to {RATE_HZ_MAX:g} Hz",
            "record at such a rate or resample the record before",
        )


def _check_channels(header: Header, channels: list[Channel]) -> None:
    if not 1 <= len(channels) <= CHANNELS_MAX:
        raise RecordingError(
            header.name,
            f"{len(channels)} usable channels of {len(header.analogue)} analogue ones",
            f"1 to {CHANNELS_MAX} in A, mA, uA, V, kV or MV",
            "correct the units, or split the record",
        )


def _nominal(header: Header, given_hz: float | None) -> float:
    line_hz = given_hz if header.line_hz in (None, 0.0) else header.line_hz
    for nominal_hz in (50.0, 60.0):
        if line_hz is not None and abs(line_hz - nominal_hz) < NOMINAL_BAND_HZ:
            return nominal_hz
    found = "not given" if line_hz is None else f"{line_hz:g} Hz"
    raise RecordingError(
        header.name, f"nominal frequency is {found}", "50 or 60 Hz", "correct it in the record"
    )
