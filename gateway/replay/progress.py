"""What a run that is stopped leaves behind, so that the same command goes on where it stood."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

PROGRESS = "progress.json"
"""Is in the folder of results while a run is on its way, or was stopped."""


def keep_progress(out: Path, identity: Mapping[str, Any], stand: Mapping[str, Any]) -> None:
    """Durable on return. identity: of the request, as plain JSON; stand: what goes on from it."""
    part = out / f"{PROGRESS}.part"
    with part.open("w", encoding="utf-8") as stream:
        json.dump({"identity": identity, **stand}, stream)
        stream.flush()
        os.fsync(stream.fileno())
    part.replace(out / PROGRESS)


def kept_progress(out: Path, identity: Mapping[str, Any]) -> dict[str, Any] | None:
    """Where a stopped run of the same request stands; None where there is none, or of another."""
    path = out / PROGRESS
    if not path.is_file():
        return None
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
    except ValueError:
        return None
    same = isinstance(plain, dict) and plain.get("identity") == json.loads(json.dumps(identity))
    return plain if same else None


def end_progress(out: Path) -> None:
    """The run is over."""
    (out / PROGRESS).unlink(missing_ok=True)
