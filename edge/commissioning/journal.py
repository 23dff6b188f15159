"""The state of a commissioning: on disk after every step, so that a cut costs one step at most."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from edge.commissioning.asking import Place
from edge.commissioning.outcome import Outcome, Verdict, outcome_of, outcome_plain

STATE_FILE = "commissioning.json"
VERSION = 1


class JournalRefused(ValueError):
    """The file of a commissioning that was begun cannot be read, or is of other sensors."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """A step that was begun and not ended: when, and in which start of the computer.

    kept: what it had found so far, such as points of the gain.
    """

    at_us: int
    boot: str
    kept: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Journal:
    """subject_sha: of the sensors that are commissioned. outcomes, begun: by place."""

    unit: str
    subject_sha: str
    begun_us: int
    outcomes: Mapping[Place, Outcome] = field(default_factory=dict)
    begun: Mapping[Place, Begun] = field(default_factory=dict)

    def verdict(self, place: Place) -> Verdict:
        """Of a step; blank where it was never ended."""
        outcome = self.outcomes.get(place)
        return Verdict.BLANK if outcome is None else outcome.verdict


def with_begun(journal: Journal, place: Place, begun: Begun) -> Journal:
    """With a step under way."""
    return replace(journal, begun={**journal.begun, place: begun})


def with_outcome(journal: Journal, place: Place, outcome: Outcome) -> Journal:
    """With a step ended, however it ended; its interim findings go."""
    begun = {key: one for key, one in journal.begun.items() if key != place}
    return replace(journal, outcomes={**journal.outcomes, place: outcome}, begun=begun)


def save(journal: Journal, folder: Path) -> None:
    """Durable when this returns: written beside, forced, and put in place."""
    plain = {
        "v": VERSION,
        "unit": journal.unit,
        "subject_sha": journal.subject_sha,
        "begun_us": journal.begun_us,
        "outcomes": [[p.step, p.insulator, outcome_plain(o)] for p, o in journal.outcomes.items()],
        "begun": [
            [p.step, p.insulator, {"at_us": b.at_us, "boot": b.boot, "kept": dict(b.kept)}]
            for p, b in journal.begun.items()
        ],
    }
    write_durably(folder / STATE_FILE, json.dumps(plain, indent=1, ensure_ascii=False).encode())


def load(folder: Path, unit: str, subject_sha: str, now_us: int) -> Journal:
    """What was begun here, or a new journal. Raises JournalRefused."""
    path = folder / STATE_FILE
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Journal(unit=unit, subject_sha=subject_sha, begun_us=now_us)
    except (OSError, ValueError) as fault:
        raise JournalRefused(f"{path} cannot be read ({fault}); begin with --anew") from fault
    try:
        if plain["v"] != VERSION or plain["unit"] != unit or plain["subject_sha"] != subject_sha:
            raise JournalRefused(
                f"{path} is of another unit, or the sensors in the settings have changed since it "
                "was begun; begin with --anew"
            )
        return Journal(
            unit=unit,
            subject_sha=subject_sha,
            begun_us=plain["begun_us"],
            outcomes={Place(s, i): outcome_of(one) for s, i, one in plain["outcomes"]},
            begun={Place(s, i): Begun(**one) for s, i, one in plain["begun"]},
        )
    except (KeyError, TypeError) as fault:
        raise JournalRefused(f"{path} is not as it was written ({fault}); begin with --anew") from (
            fault
        )


def write_durably(path: Path, content: bytes) -> None:
    """The whole file or the one before, whatever happens meanwhile."""
    beside = path.with_name(f"{path.name}.part")
    with beside.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    beside.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
