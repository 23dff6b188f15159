"""The witness record: everything that was shown, by whom, with what, and a hash over it."""

from __future__ import annotations

import json
import platform
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from edge.clock import Clock
from edge.commissioning.guiding import places
from edge.commissioning.journal import Journal, write_durably
from edge.commissioning.outcome import Verdict, outcome_plain
from edge.commissioning.standing import WITNESS_FILE, content_sha
from edge.commissioning.table import BY_ID
from edge.settings import Settings
from edge.version import __version__


def witness_of(journal: Journal, settings: Settings, clock: Clock) -> dict[str, Any]:
    """The record as JSON values. in_service: every step has passed."""
    verdicts = [journal.verdict(place) for place in places(settings)]
    plain: dict[str, Any] = {
        "v": 1,
        "unit": settings.unit.id,
        "site": settings.site.name,
        "subject_sha": journal.subject_sha,
        "settings_sha": settings.sha,
        "software": __version__,
        "machine": f"{platform.system()} {platform.release()} {platform.machine()}, "
        f"Python {platform.python_version()}",
        "begun": moment(journal.begun_us),
        "written": moment(clock.utc_us()),
        "insulators": [
            one.model_dump(mode="json", include={"id", "type", "phase", "sensor_place", "ranges"})
            for one in settings.insulator
        ],
        "steps": [_step(journal, place.step, place.insulator) for place in places(settings)],
        "in_service": all(one is Verdict.PASSED for one in verdicts),
    }
    return {**plain, "sha256": content_sha(plain)}


def _step(journal: Journal, step: str, insulator: str) -> dict[str, Any]:
    head = {"step": step, "title": BY_ID[step].title, "insulator": insulator}
    for place, outcome in journal.outcomes.items():
        if (place.step, place.insulator) == (step, insulator):
            plain = outcome_plain(outcome)
            allowed = [one.allowed for one in outcome.readings]
            rows = zip(plain["readings"], allowed, strict=True)
            plain["readings"] = [{**row, "allowed": words} for row, words in rows]
            return {**head, **plain, "at": moment(outcome.at_us)}
    return {**head, "verdict": Verdict.BLANK.value, "readings": [], "entered": {}, "note": ""}


def moment(utc_us: int) -> str:
    """UTC to the second."""
    return f"{datetime.fromtimestamp(utc_us // 1_000_000, UTC):%Y-%m-%dT%H:%M:%SZ}"


def write_witness(witness: dict[str, Any], folder: Path) -> Path:
    """Durable when this returns."""
    path = folder / WITNESS_FILE
    text = json.dumps(witness, indent=1, ensure_ascii=False, sort_keys=True)
    write_durably(path, f"{text}\n".encode())
    return path
