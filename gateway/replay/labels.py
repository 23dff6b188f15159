"""Labels: what people say was the case, as intervals; separate from the data, never in it."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import astuple, dataclass
from enum import StrEnum

from edge.wire import canonical
from gateway.replay.instants import InstantFault, instant_us

COLUMNS = ("start", "end", "subject", "kind", "confidence", "who", "version")
OPTIONAL = ("settings_sha", "note")

FAULTS_TOLD = 20
"""So many faults of one file are named; the rest is counted."""


class Kind(StrEnum):
    """What may be labelled. The time that no label covers counts as: nothing happened."""

    ARCING = "arcing"
    FLASHOVER = "flashover"
    SALT_STORM = "salt-storm"
    WASH = "wash"
    RAIN = "rain"
    LIGHTNING = "lightning"
    SWITCHING = "switching"
    BIRD = "bird"
    NOISE = "noise"
    SENSOR_FAULT = "sensor-fault"
    TEST = "test"  # somebody tried something out: not judged
    UNKNOWN = "unknown"  # nobody can say: not judged
    TUNED_ON = "tuned-on"  # limits were tuned on this time: it cannot judge them


EVENTS = (Kind.ARCING, Kind.FLASHOVER, Kind.SENSOR_FAULT)
"""What alarms are there to tell; the other kinds are what was around."""

EXCLUDED = frozenset({Kind.UNKNOWN, Kind.TEST})
"""In this time no alarm is called right or wrong."""


class LabelsFault(ValueError):
    """The analyst's: a file of labels is not acceptable; one line for each fault."""


@dataclass(frozen=True, slots=True, order=True)
class Label:
    """One interval [start_us, end_us), UTC us.

    subject: insulator, or "" for the whole site. confidence_ppm: 1 000 000 where none was stated.
    settings_sha: of `tuned-on` only: the settings that were tuned, "" for any. line: in the file.
    """

    start_us: int
    end_us: int
    subject: str
    kind: Kind
    confidence_ppm: int
    who: str
    version: str
    settings_sha: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class LabelSet:
    """Labels in order of their start. sha: of what they say, whatever the order of the rows."""

    labels: tuple[Label, ...]
    sha: str
    warnings: tuple[str, ...] = ()

    def of(self, *kinds: Kind) -> tuple[Label, ...]:
        """Those of some kinds."""
        return tuple(one for one in self.labels if one.kind in kinds)


def read_labels(
    text: str,
    where: str,
    insulators: Collection[str],
    site_names: Collection[str] = (),
    who: str | None = None,
) -> LabelSet:
    """The labels of a CSV text.

    insulators, site_names: what a subject may be; a site's name is the whole site, as "" is.
    who: only this annotator's. Raises LabelsFault, which names every line at fault.
    """
    reader = csv.DictReader(io.StringIO(text))
    header = reader.fieldnames or []
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        raise LabelsFault(
            f"{where}: line 1: no column {', '.join(missing)}; needed are {','.join(COLUMNS)}"
        )
    odd = [name for name in header if name not in (*COLUMNS, *OPTIONAL)]
    faults: list[str] = []
    labels: list[Label] = []
    for row in reader:
        try:
            labels.append(_label(row, reader.line_num, insulators, site_names))
        except (LabelsFault, InstantFault) as fault:
            faults.append(f"{where}: line {reader.line_num}: {fault}")
    chosen = [one for one in labels if who in (None, one.who)]
    faults += [f"{where}: {text}" for text in _overlaps(chosen)]
    if labels and not chosen:
        faults.append(f"{where}: nobody called {who!r}; there are {', '.join(_names(labels))}")
    _complain(faults, where)
    warnings = [f"{where}: column {', '.join(odd)} is not known and was passed over"] if odd else []
    return LabelSet(tuple(sorted(chosen)), label_set_sha(chosen), tuple(warnings))


def label_set_sha(labels: Iterable[Label]) -> str:
    """SHA-256 over what the labels say, hex, first 16 digits; line numbers do not count."""
    said = sorted(astuple(one)[:-1] for one in labels)
    return hashlib.sha256(canonical(said)).hexdigest()[:16]


def _names(labels: Iterable[Label]) -> list[str]:
    return sorted({one.who for one in labels})


def _complain(faults: list[str], where: str) -> None:
    if faults:
        more = len(faults) - FAULTS_TOLD
        told = faults[:FAULTS_TOLD] + ([f"{where}: and {more} more faults"] if more > 0 else [])
        raise LabelsFault("\n".join(told))


def _label(
    row: Mapping[str | None, str | None],
    line: int,
    insulators: Collection[str],
    site_names: Collection[str],
) -> Label:
    cells = {name: (row.get(name) or "").strip() for name in (*COLUMNS, *OPTIONAL)}
    if None in row or row.get("version") is None:
        raise LabelsFault("not as many cells as the header has; put text with commas in quotes")
    start_us, end_us = instant_us(cells["start"], "start"), instant_us(cells["end"], "end")
    if end_us <= start_us:
        raise LabelsFault(f"end {cells['end']} is not after start {cells['start']}")
    for name in ("who", "version"):
        if not cells[name]:
            raise LabelsFault(f"{name} is empty; say who labelled, and which version this is")
    kind = _kind(cells["kind"])
    if cells["settings_sha"] and kind is not Kind.TUNED_ON:
        raise LabelsFault(f"settings_sha belongs to {Kind.TUNED_ON.value} alone; leave it empty")
    return Label(
        start_us,
        end_us,
        _subject(cells["subject"], insulators, site_names),
        kind,
        _confidence_ppm(cells["confidence"]),
        cells["who"],
        cells["version"],
        cells["settings_sha"],
        line,
    )


def _kind(text: str) -> Kind:
    try:
        return Kind(text)
    except ValueError:
        allowed = ", ".join(one.value for one in Kind)
        raise LabelsFault(f"kind {text!r} is none of {allowed}") from None


def _subject(text: str, insulators: Collection[str], site_names: Collection[str]) -> str:
    if text in insulators:
        return text
    if text and text not in site_names:
        raise LabelsFault(
            f"subject {text!r} is no insulator of this run; there are "
            f"{', '.join(sorted(insulators))}; leave it empty for the whole site"
        )
    return ""


def _confidence_ppm(text: str) -> int:
    try:
        confidence = float(text or "1")
    except ValueError:
        confidence = -1.0
    if not 0 < confidence <= 1:
        raise LabelsFault(f"confidence {text!r}: above 0 and up to 1, or empty for certain")
    return round(confidence * 1e6)


def _overlaps(labels: Iterable[Label]) -> Iterator[str]:
    """Labels of one subject and kind that overlap, and unknown time that is said to be known."""
    last: dict[tuple[str, Kind], Label] = {}
    for one in sorted(labels):
        for kind in _rivals(one.kind):
            other = last.get((one.subject, kind))
            if other is not None and other.end_us > one.start_us:
                yield (
                    f"lines {other.line} and {one.line} overlap: {other.kind.value} and "
                    f"{one.kind.value} of {one.subject or 'the whole site'}; cut one, or choose "
                    "one annotator with --who"
                )
        before = last.get((one.subject, one.kind), one)
        last[one.subject, one.kind] = max(one, before, key=lambda label: label.end_us)


def _rivals(kind: Kind) -> tuple[Kind, ...]:
    """Kinds that may not be said of the same time and subject beside this one."""
    if kind is Kind.UNKNOWN:
        return (*EVENTS, kind)
    return (kind, Kind.UNKNOWN) if kind in EVENTS else (kind,) * (kind is not Kind.TUNED_ON)
