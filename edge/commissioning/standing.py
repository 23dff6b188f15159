"""Whether a unit is in service: a witness record stands beside its durable file, whole and of it.

Small on purpose: the daemon asks this at its start, and knows nothing else of commissioning.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from edge.settings import Settings

WITNESS_FILE = "commissioning-witness.json"


def subject_sha(settings: Settings) -> str:
    """What was commissioned, hex, 16 digits: the unit, where its samples come from, and each
    insulator's sensor. Limits, addresses and dated calibrations may change without it."""
    source = settings.source
    plain = {
        "unit": settings.unit.id,
        "source": source.kind,
        "voltage_channel": source.voltage_channel,
        "converter": None if source.iio is None else source.iio.model_dump(mode="json"),
        "insulators": [
            one.model_dump(mode="json", include={"id", "phase", "sensor_place", "ranges"})
            for one in settings.insulator
        ],
    }
    return content_sha(plain)[:16]


def content_sha(plain: Mapping[str, Any]) -> str:
    """SHA-256 over JSON with sorted keys and without spaces, hex, of all but its own `sha256`."""
    held = {key: part for key, part in plain.items() if key != "sha256"}
    text = json.dumps(held, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def objection(folder: Path, settings: Settings) -> str:
    """Why the unit is not in service; "" where it is."""
    path = folder / WITNESS_FILE
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return "there is no witness record"
    except (OSError, ValueError) as fault:
        return f"{path} cannot be read ({fault})"
    if not isinstance(plain, dict) or plain.get("sha256") != content_sha(plain):
        return f"{path} is not as it was written"
    if plain.get("subject_sha") != subject_sha(settings):
        return f"{path} is of another unit, or the sensors have been changed since"
    if plain.get("in_service") is not True:
        return f"{path} says that steps are blank or failed"
    return ""


def is_in_service(folder: Path, settings: Settings) -> bool:
    """Whether the unit may say that it is."""
    return not objection(folder, settings)
