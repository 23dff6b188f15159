"""Labels written down: the very rows that `seafret score` reads, each with how it was seen."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from edge.settings import Settings
from gateway.field_set.folder import LABELS, FieldSetFault, open_set, settings_of, write_whole
from gateway.replay.labels import COLUMNS, OPTIONAL, Label, LabelSet, read_labels


class Seen(StrEnum):
    """How somebody came to know it; it stands at the head of a label's note, as `by eye: `."""

    EYE = "eye"
    VIDEO = "video"
    RECORDS = "records"  # of protection, switching or weather
    NOBODY = "nobody"  # of `unknown` only


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One label as a person gives it; times with their zone, subject "" for the whole site."""

    start: str
    end: str
    subject: str
    kind: str
    seen: Seen
    confidence: str
    who: str
    version: str
    note: str = ""


def label(folder: Path, asked: Asked) -> None:
    """Appends a label once all labels hold with it. Raises FieldSetFault, LabelsFault."""
    open_set(folder)
    path = folder / LABELS
    text = path.read_text(encoding="utf-8-sig")
    row = {
        "start": asked.start,
        "end": asked.end,
        "subject": asked.subject,
        "kind": asked.kind,
        "confidence": asked.confidence,
        "who": asked.who,
        "version": asked.version,
        "note": f"by {asked.seen.value}: {asked.note}".rstrip(": "),
    }
    line = io.StringIO()
    names = next(csv.reader(io.StringIO(text)), [*COLUMNS, *OPTIONAL])
    writer = csv.DictWriter(line, names, extrasaction="ignore", lineterminator="\n")
    writer.writerow(row)
    whole = f"{text.rstrip()}\n{line.getvalue()}"
    labels_of(whole, str(path), settings_of(folder), who=asked.who)
    write_whole(path, whole)


def labels_of(text: str, where: str, settings: Settings, who: str | None = None) -> LabelSet:
    """The labels of a text; overlaps are looked for within one annotator's. Raises LabelsFault."""
    insulators = [one.id for one in settings.insulator]
    unit = settings.unit.id
    return read_labels(
        text, where, insulators, (unit, unit.partition(".")[0], settings.site.name), who
    )


def annotators(text: str) -> list[str]:
    """Who labelled, in order of the alphabet."""
    rows = csv.DictReader(io.StringIO(text))
    return sorted({(row.get("who") or "").strip() for row in rows} - {""})


def seen_of(text: str, one: Label) -> Seen:
    """How a label was seen, by its note. Raises FieldSetFault where the note does not say."""
    reader = csv.DictReader(io.StringIO(text))
    for row in reader:
        if reader.line_num == one.line:
            note = (row.get("note") or "").strip()
            for seen in Seen:
                if note.partition(":")[0] == f"by {seen.value}":
                    return seen
    allowed = ", ".join(f"'by {seen.value}: '" for seen in Seen)
    raise FieldSetFault(f"line {one.line}: the note does not begin with one of {allowed}")
