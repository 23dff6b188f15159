"""The folder that a replay left, read back: its manifest, its alarms, and what it watched when."""

from __future__ import annotations

import csv
import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edge.quantities import State
from edge.records import ConditionChange
from edge.wire import Refused, load_json, read_checked
from gateway.replay.instants import instant_us
from gateway.replay.watched import Span, joined

NEEDED = ("software", "settings_sha", "inputs", "insulators")
"""Keys without which a run.json is not one of ours."""


class ResultFault(ValueError):
    """The analyst's: the folder is not what a replay left, or not any more."""


@dataclass(frozen=True, slots=True)
class Run:
    """One result. Times are UTC us.

    settings: as the run was told or, where it was told none, the plan it made; None in results of
    versions that did not keep them. inputs: SHA-256 by file name. watched: of each insulator, when
    there was data and its state was known. rows: what intervals.csv covers, told or not.
    tuned_on: time on which the limits of this run were tuned, as (from, to, subject or "").
    """

    folder: Path
    software: str
    settings_sha: str
    settings: Mapping[str, Any] | None
    inputs: Mapping[str, str]
    insulators: tuple[str, ...]
    changes: tuple[ConditionChange, ...]
    watched: Mapping[str, tuple[Span, ...]]
    rows: tuple[Span, ...]
    tuned_on: tuple[tuple[int, int, str], ...] = ()

    @property
    def period(self) -> Span:
        """From its first row or alarm to behind its last one."""
        starts = [self.rows[0][0]] if self.rows else []
        ends = [self.rows[-1][1]] if self.rows else []
        moments = [one.at_us for one in self.changes]
        return min([*starts, *moments], default=0), max(
            [*ends, *(m + 1 for m in moments)], default=0
        )


def read_run(folder: Path) -> Run:
    """The result in a folder. Raises ResultFault, InstantFault, OSError."""
    manifest = read_manifest(folder)
    if manifest.get("kind") in ("rows", "envelopes"):
        watched, rows = _watched_spans(folder / "watched.csv")
    else:
        watched, rows = _watched(folder / "intervals.csv")
    return Run(
        folder=folder,
        software=str(manifest["software"]),
        settings_sha=str(manifest["settings_sha"]),
        settings=manifest.get("settings"),
        inputs={one["name"]: one["sha256"] for one in manifest["inputs"]},
        insulators=tuple(manifest["insulators"]),
        changes=tuple(_changes(folder / "events.jsonl")),
        watched=watched,
        rows=rows,
        tuned_on=tuple(
            (
                instant_us(one["from"], f"{folder / 'run.json'}: tuned_on"),
                instant_us(one["to"], f"{folder / 'run.json'}: tuned_on"),
                str(one.get("subject", "")),
            )
            for one in manifest.get("tuned_on", ())
        ),
    )


def read_manifest(folder: Path) -> dict[str, Any]:
    """What run.json says. Raises ResultFault where the folder holds no finished replay."""
    path = folder / "run.json"
    if not path.is_file():
        begun = (folder / "run.json.part").exists() or (folder / "windows.csv.part").exists()
        what = "a replay that did not end" if begun else "no run.json"
        raise ResultFault(
            f"{folder}: {what}; a folder that `seafret replay ... --out` filled is needed"
        )
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as fault:
        raise ResultFault(f"{path}: {fault}; replay again into this folder") from fault
    missing = [key for key in NEEDED if not isinstance(found, dict) or key not in found]
    if missing:
        raise ResultFault(f"{path}: {', '.join(missing)} is missing; replay again into this folder")
    assert isinstance(found, dict)
    return found


def kind_of(folder: Path) -> str:
    """What a result was made of: recordings or rows. Raises ResultFault."""
    return str(read_manifest(folder).get("kind", "recordings"))


def site_of(folder: Path) -> str:
    """Of a result of stored rows. Raises ResultFault."""
    return str(read_manifest(folder)["site"])


def _changes(path: Path) -> Iterator[ConditionChange]:
    """Condition changes in the order in which they were decided; other records are passed over."""
    with path.open("rb") as stream:
        for number, line in enumerate(stream, start=1):
            try:
                found = load_json(line)
                if isinstance(found, dict) and found.get("kind") == "condition":
                    record = read_checked(line)
                    assert isinstance(record, ConditionChange)
                    yield record
                elif not isinstance(found, dict) or "kind" not in found:
                    raise Refused("body", "no record; an object with its kind is allowed")
            except Refused as fault:
                raise ResultFault(f"{path}: line {number}: {fault}; replay again") from fault


def _watched(path: Path) -> tuple[dict[str, tuple[Span, ...]], tuple[Span, ...]]:
    """(when each insulator was watched, what the rows cover)."""
    known: dict[str, list[Span]] = defaultdict(list)
    rows: list[Span] = []
    with path.open(newline="", encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            try:
                start_us = instant_us(row["start"], "start")
                end_us = start_us + round(float(row["seconds"]) * 1e6)
                state = State(row["state"])
            except (KeyError, TypeError, ValueError) as fault:
                raise ResultFault(f"{path}: a row {row}: {fault}; replay again") from fault
            rows.append((start_us, end_us))
            known[row["insulator"]] += [] if state is State.UNKNOWN else [(start_us, end_us)]
    return {name: joined(spans) for name, spans in known.items()}, joined(rows)


def _watched_spans(path: Path) -> tuple[dict[str, tuple[Span, ...]], tuple[Span, ...]]:
    """The same where only rows were decided on."""
    known: dict[str, list[Span]] = defaultdict(list)
    with path.open(newline="", encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            try:
                span = instant_us(row["start"], "start"), instant_us(row["end"], "end")
            except (KeyError, TypeError, ValueError) as fault:
                raise ResultFault(f"{path}: a row {row}: {fault}; replay again") from fault
            known[row["insulator"]].append(span)
    every = joined(span for spans in known.values() for span in spans)
    return {name: joined(spans) for name, spans in known.items()}, every
