"""The configuration text (.cfg, or the CFG section of a .cff) to a checked Header."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, timedelta, timezone, tzinfo

from edge.recording.faults import RecordingError, excerpt
from edge.recording.model import (
    CHANNELS_DECLARED_MAX,
    ROWS_MAX,
    AnalogueChannel,
    DigitalChannel,
    FileType,
    Header,
    Revision,
    TimeQuality,
)
from edge.recording.stamps import UNSTATED, naive_ns, quality_of, utc_ns, zone_minutes
from edge.recording.text import Lines, decimal, lines_of, whole

_REVISIONS = {"": Revision.R1991, "2001": Revision.R1999} | {str(r): r for r in Revision}
"""Year on the first line to revision; 2001 is the IEC edition of the 1999 one (as recalled)."""

RATES_MAX = 1_000
"""More lines of sampling rates are refused."""

_REMEDY = "correct the line or fetch the file again"


def parse_header(
    content: bytes, *, name: str, zone: tzinfo | None = None, first_line: int = 1
) -> Header:
    """The header of a recording; RecordingError, with the line, for whatever cannot be trusted.

    zone: time zone of stamps that do not state one (before 2013); without it they are read as UTC
    and `zone_assumed` is set.
    """
    lines = lines_of(content, name, first_line)
    station, device, revision = _identity(lines)
    analogue_count, digital_count = _counts(lines)
    at = 2 + analogue_count
    analogue = tuple(_analogue(lines, 2 + i, i, revision) for i in range(analogue_count))
    digital = tuple(_digital(lines, at + i, revision) for i in range(digital_count))
    at += digital_count
    line_text = lines.text(at, "the nominal frequency")
    line_hz = decimal(line_text, lines.where(at), "nominal frequency") if line_text else None
    rate_hz, rows, at = _sampling(lines, at + 1)
    file_type = _file_type(lines, at + 2, revision)
    times = _times(lines, at, revision, zone)
    return Header(
        name=name,
        station=station,
        device=device,
        revision=revision,
        analogue=analogue,
        digital=digital,
        line_hz=line_hz,
        rate_hz=rate_hz,
        rows=rows,
        file_type=file_type,
        start_utc_ns=times.start_utc_ns,
        trigger_utc_ns=times.trigger_utc_ns,
        stamp_ns=times.stamp_ns,
        zone_assumed=times.zone_assumed,
        quality=times.quality,
        warnings=times.warnings,
    )


def _identity(lines: Lines) -> tuple[str, str, Revision]:
    fields = lines.fields(0, "the station")
    year = fields[2] if len(fields) == 3 else ""
    if len(fields) not in (2, 3) or year not in _REVISIONS:
        raise RecordingError(
            lines.where(0),
            f"first line is {excerpt(lines.texts[0])}",
            "station,device,year with year 1991, 1999 or 2013 (none: 1991)",
            "check that this is a COMTRADE configuration",
        )
    return fields[0], fields[1], _REVISIONS[year]


def _counts(lines: Lines) -> tuple[int, int]:
    """Analogue and digital channels; their sum must be the declared total."""
    where, fields = lines.where(1), lines.fields(1, "the channel counts")
    if len(fields) != 3 or fields[1][-1:].upper() != "A" or fields[2][-1:].upper() != "D":
        raise RecordingError(
            where, f"counts are {excerpt(lines.texts[1])}", "total,nA,nD as in 6,4A,2D", _REMEDY
        )
    total = whole(fields[0], where, "total of channels", 1, 2 * CHANNELS_DECLARED_MAX)
    analogue = whole(fields[1][:-1], where, "analogue channels", 0, CHANNELS_DECLARED_MAX)
    digital = whole(fields[2][:-1], where, "digital channels", 0, CHANNELS_DECLARED_MAX)
    if total != analogue + digital:
        raise RecordingError(
            where,
            f"{total} channels in total but {analogue} analogue and {digital} digital",
            f"a total of {analogue + digital}",
            _REMEDY,
        )
    return analogue, digital


def _analogue(lines: Lines, index: int, column: int, revision: Revision) -> AnalogueChannel:
    where, fields = lines.where(index), lines.fields(index, f"analogue channel {column + 1}")
    while len(fields) > 10 and not fields[-1]:
        fields.pop()
    if len(fields) != 13 and not (revision is Revision.R1991 and len(fields) == 10):
        raise RecordingError(
            where,
            f"analogue channel {column + 1} has {len(fields)} fields",
            "10 in revision 1991" if revision is Revision.R1991 else "13",
            _REMEDY,
        )
    a, b, skew, low, high = (
        decimal(text or "0", where, what)
        for text, what in zip(fields[5:10], ("a", "b", "skew", "min", "max"), strict=True)
    )
    primary, secondary, is_secondary = 1.0, 1.0, None
    if len(fields) == 13:
        primary = decimal(fields[10], where, "primary factor")
        secondary = decimal(fields[11], where, "secondary factor")
        is_secondary = _side(fields[12], primary, secondary, where)
    return AnalogueChannel(
        number=whole(fields[0], where, "channel number", 0, 10**9),
        column=column,
        name=fields[1],
        phase=fields[2],
        component=fields[3],
        unit=fields[4],
        a=a,
        b=b,
        skew_us=skew,
        code_min=low,
        code_max=high,
        primary=primary,
        secondary=secondary,
        is_secondary=is_secondary,
    )


def _side(flag: str, primary: float, secondary: float, where: str) -> bool:
    """True for values on the secondary side, whose ratio must then be usable."""
    if flag.upper() not in ("P", "S"):
        raise RecordingError(where, f"side is {excerpt(flag)}", "P or S", _REMEDY)
    if flag.upper() == "S" and (primary <= 0 or secondary <= 0):
        raise RecordingError(
            where,
            f"ratio of a secondary value is {primary:g} to {secondary:g}",
            "both above zero",
            _REMEDY,
        )
    return flag.upper() == "S"


def _digital(lines: Lines, index: int, revision: Revision) -> DigitalChannel:
    where, fields = lines.where(index), lines.fields(index, "a digital channel")
    allowed = (3, 5) if revision is Revision.R1991 else (5,)
    if len(fields) not in allowed:
        raise RecordingError(
            where,
            f"a digital channel was due, found {excerpt(lines.texts[index])}",
            f"{' or '.join(map(str, allowed))} fields, a line for each digital channel declared",
            _REMEDY,
        )
    return DigitalChannel(whole(fields[0], where, "channel number", 0, 10**9), fields[1])


def _sampling(lines: Lines, at: int) -> tuple[float | None, int, int]:
    """Rate (None: time-stamped rows), number of rows, index of the line after."""
    count_text = lines.text(at, "the number of sampling rates")
    count = whole(count_text, lines.where(at), "number of sampling rates", 0, RATES_MAX)
    rates: list[float] = []
    rows = 0
    for index in range(at + 1, at + 1 + max(count, 1)):
        where, fields = lines.where(index), lines.fields(index, "a sampling rate")
        if len(fields) != 2:
            raise RecordingError(
                where, f"rate line is {excerpt(lines.texts[index])}", "rate,last sample", _REMEDY
            )
        rates.append(decimal(fields[0], where, "sampling rate"))
        rows = whole(fields[1], where, "number of the last sample", rows + 1, ROWS_MAX)
        if rates[-1] != rates[0]:
            raise RecordingError(
                where,
                f"sampling rates {rates[0]:g} and {rates[-1]:g} Hz in one record",
                "one rate",
                "split the record at the change of rate",
            )
    stamped = count == 0 or rates[0] == 0
    return (None if stamped else rates[0]), rows, at + 1 + max(count, 1)


def _file_type(lines: Lines, index: int, revision: Revision) -> FileType:
    text = lines.text(index, "the file type").upper()
    allowed = list(FileType) if revision is Revision.R2013 else [FileType.ASCII, FileType.BINARY]
    if text not in allowed:
        raise RecordingError(
            lines.where(index),
            f"file type is {excerpt(text)}",
            f"{', '.join(allowed)} in revision {revision}",
            _REMEDY,
        )
    return FileType(text)


@dataclass(frozen=True, slots=True)
class _Times:
    start_utc_ns: int
    trigger_utc_ns: int
    stamp_ns: float
    zone_assumed: bool
    quality: TimeQuality
    warnings: tuple[str, ...]


def _times(lines: Lines, at: int, revision: Revision, zone: tzinfo | None) -> _Times:
    """Everything about time; `at` is the line of the first sample's stamp."""
    stamps = []
    for index, what in ((at, "the start time"), (at + 1, "the trigger time")):
        parts = lines.fields(index, what)
        date, time = parts if len(parts) == 2 else (lines.texts[index], "")
        stamps.append(naive_ns(date, time, revision, lines.where(index)))
    resolution_ns = 1 if any(fine for _, fine in stamps) else 1_000
    warnings: list[str] = []
    multiplier, own_zone, quality = 1.0, None, UNSTATED
    if revision is not Revision.R1991:
        multiplier = _multiplier(lines, at + 3, warnings)
    if revision is Revision.R2013 and lines.has(at + 4):
        own_zone = _own_zone(lines, at + 4)
        quality = _quality(lines, at + 5, resolution_ns, warnings)
    elif revision is Revision.R2013:
        warnings.append(f"{lines.name}: no time code; the times are taken as before 2013")
    used_zone = own_zone or zone or UTC
    start, trigger = (
        utc_ns(naive, used_zone, lines.where(at + i)) for i, (naive, _) in enumerate(stamps)
    )
    assumed = own_zone is None and zone is None
    return _Times(start, trigger, resolution_ns * multiplier, assumed, quality, tuple(warnings))


def _multiplier(lines: Lines, index: int, warnings: list[str]) -> float:
    if not lines.has(index):
        warnings.append(f"{lines.where(index)}: no time multiplier; 1 is taken")
        return 1.0
    found = decimal(lines.text(index, "the time multiplier"), lines.where(index), "multiplier")
    if found <= 0:
        raise RecordingError(
            lines.where(index), f"time multiplier is {found:g}", "above zero", _REMEDY
        )
    return found


def _own_zone(lines: Lines, index: int) -> tzinfo:
    """The zone of the stamps; the local code beside it only says where the recorder stands."""
    code = lines.fields(index, "the time code")[0]
    return timezone(timedelta(minutes=zone_minutes(code, lines.where(index))))


def _quality(lines: Lines, index: int, resolution_ns: int, warnings: list[str]) -> TimeQuality:
    if not lines.has(index):
        warnings.append(f"{lines.where(index)}: no time quality; the clock is taken on trust")
        return UNSTATED
    code = re.split(r"\s", lines.fields(index, "the time quality")[0])[0]
    return quality_of(code, resolution_ns, lines.where(index))
