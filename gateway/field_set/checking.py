"""Whether a field set is whole: files as they were, labels that hold, and what they cover."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from edge.settings import Settings
from gateway.field_set.folder import (
    LABELS,
    RECORDINGS,
    SETTINGS,
    FieldSet,
    FieldSetFault,
    file_hash,
    read_set,
    settings_of,
    write_set,
)
from gateway.field_set.labelling import Seen, annotators, labels_of, seen_of
from gateway.replay.labels import EVENTS, Kind, Label, LabelsFault, label_set_sha

Span = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """faults: what keeps the set from being sealed. warnings: what a reader should know.

    labelled_us: by kind. uncovered_us: recorded time, insulators taken one by one, without a label.
    """

    found: FieldSet
    faults: tuple[str, ...]
    warnings: tuple[str, ...]
    who: tuple[str, ...]
    labels: tuple[Label, ...]
    recorded_us: int
    labelled_us: dict[str, int]
    uncovered_us: int

    @property
    def labels_sha(self) -> str:
        """Of what the labels say."""
        return label_set_sha(self.labels)


def check(folder: Path) -> Checked:
    """Everything looked at. Raises FieldSetFault where it is no field set."""
    found, settings = read_set(folder), settings_of(folder)
    text = (folder / LABELS).read_text(encoding="utf-8-sig")
    labels, faults = _labels(text, settings)
    faults = [*_file_faults(folder, found), *faults, *_seen_faults(text, labels)]
    spans = [(one.start_us, one.end_us) for one in found.recordings]
    faults += [
        f"{LABELS} line {one.line}: {one.kind.value} lies outside every recording"
        for one in labels
        if one.kind in EVENTS and not _covered(spans, (one.start_us, one.end_us))
    ]
    if found.is_sealed and label_set_sha(labels) != found.labels_sha:
        faults.append(f"{LABELS} has changed since {found.sealed_by} sealed the set")
    recorded = _joined(spans)
    subjects = [one.id for one in settings.insulator]
    return Checked(
        found=found,
        faults=tuple(faults),
        warnings=tuple(_warnings(found, labels)),
        who=tuple(annotators(text)),
        labels=labels,
        recorded_us=sum(end - start for start, end in recorded),
        labelled_us={
            kind.value: _overlap(
                _joined([_span(one) for one in labels if one.kind is kind]), recorded
            )
            for kind in Kind
            if any(one.kind is kind for one in labels)
        },
        uncovered_us=sum(_uncovered(name, labels, recorded) for name in subjects),
    )


def seal(folder: Path, who: str, now: datetime) -> Checked:
    """Seals a set without faults. Raises FieldSetFault with the first of them."""
    checked = check(folder)
    if checked.found.is_sealed:
        raise FieldSetFault(f"{folder} is sealed already")
    faults = list(checked.faults)
    if not checked.labels or not checked.found.recordings:
        faults.append("there is nothing to seal: recordings and labels are needed")
    if faults:
        raise FieldSetFault(f"{folder} cannot be sealed: {faults[0]}")
    at = f"{now.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    sealed = replace(checked.found, labels_sha=checked.labels_sha, sealed_at=at, sealed_by=who)
    write_set(sealed, folder)
    return replace(checked, found=sealed)


def checked_document(checked: Checked) -> dict[str, Any]:
    """For scripts: plain JSON."""
    return {
        "title": checked.found.title,
        "sealed": checked.found.sealed_at or None,
        "labels_sha": checked.labels_sha,
        "recordings": len(checked.found.recordings),
        "recorded_s": checked.recorded_us / 1e6,
        "labels": len(checked.labels),
        "who": list(checked.who),
        "labelled_s": {name: us / 1e6 for name, us in checked.labelled_us.items()},
        "without_label_s": checked.uncovered_us / 1e6,
        "faults": list(checked.faults),
        "warnings": list(checked.warnings),
    }


def checked_lines(checked: Checked) -> list[str]:
    """For people."""
    found = checked.found
    state = f"sealed by {found.sealed_by}, {found.sealed_at}" if found.is_sealed else "open"
    lines = [f"{found.title}: {state}"]
    lines.append(f"{len(found.recordings)} recordings, {checked.recorded_us / 1e6:.0f} s")
    lines.append(
        f"{len(checked.labels)} labels by {', '.join(checked.who) or 'nobody'}, "
        f"sha {checked.labels_sha}"
    )
    lines += [f"  {name:<14}{us / 1e6:>10.0f} s" for name, us in checked.labelled_us.items()]
    lines.append(
        f"  {'without label':<14}{checked.uncovered_us / 1e6:>10.0f} s counts as: nothing happened"
    )
    lines += [f"warning: {one}" for one in checked.warnings]
    lines += [f"FAULT {one}" for one in checked.faults]
    return lines


def _labels(text: str, settings: Settings) -> tuple[tuple[Label, ...], list[str]]:
    """Every annotator's labels; two may say different things of the same time."""
    labels: list[Label] = []
    faults: list[str] = []
    named: list[str | None] = [*annotators(text)]
    for who in named or [None]:
        try:
            labels += labels_of(text, LABELS, settings, who).labels
        except LabelsFault as fault:
            faults += [line for line in str(fault).splitlines() if line not in faults]
    return tuple(sorted(labels)), faults


def _file_faults(folder: Path, found: FieldSet) -> Iterator[str]:
    if file_hash(folder / SETTINGS) != found.settings_hash:
        yield f"{SETTINGS} is not what the set was begun with"
    known = {name: sha for one in found.recordings for name, sha in one.hashes.items()}
    for name, sha in known.items():
        path = folder / RECORDINGS / name
        if not path.is_file():
            yield f"{RECORDINGS}/{name} is missing"
        elif file_hash(path) != sha:
            yield f"{RECORDINGS}/{name} is not what was taken in"
    for path in sorted((folder / RECORDINGS).iterdir()):
        if path.name not in known:
            yield f"{RECORDINGS}/{path.name} was put there by hand; take it in with add"


def _seen_faults(text: str, labels: Sequence[Label]) -> Iterator[str]:
    for one in labels:
        if one.kind is Kind.TUNED_ON:
            continue
        try:
            seen = seen_of(text, one)
        except FieldSetFault as fault:
            yield f"{LABELS} {fault}"
            continue
        if seen is Seen.NOBODY and one.kind is not Kind.UNKNOWN:
            yield f"{LABELS} line {one.line}: nobody saw it, so it can only be unknown"


def _warnings(found: FieldSet, labels: Sequence[Label]) -> Iterator[str]:
    if loose := [one.name for one in found.recordings if not one.synchronised]:
        yield f"the clock was not disciplined in {', '.join(loose)}: times may be off"
    if len(versions := sorted({one.version for one in labels})) > 1:
        yield f"versions {', '.join(versions)} stand side by side"
    if not any(one.kind in EVENTS for one in labels):
        yield "no event is labelled: the set can show false alarms only"
    if not any(one.kind is Kind.UNKNOWN for one in labels):
        yield "no time is labelled unknown: was every second of the recordings watched?"


def _span(one: Label) -> Span:
    return one.start_us, one.end_us


def _uncovered(name: str, labels: Sequence[Label], recorded: list[Span]) -> int:
    own = _joined([_span(one) for one in labels if one.subject in (name, "")])
    return sum(end - start for start, end in recorded) - _overlap(own, recorded)


def _joined(spans: Sequence[Span]) -> list[Span]:
    whole: list[Span] = []
    for start, end in sorted(spans):
        if whole and start <= whole[-1][1]:
            whole[-1] = (whole[-1][0], max(end, whole[-1][1]))
        else:
            whole.append((start, end))
    return whole


def _overlap(ones: Sequence[Span], others: Sequence[Span]) -> int:
    return sum(
        max(0, min(end, stop) - max(start, begin)) for start, end in ones for begin, stop in others
    )


def _covered(spans: Sequence[Span], one: Span) -> bool:
    return _overlap(_joined(spans), [one]) > 0
