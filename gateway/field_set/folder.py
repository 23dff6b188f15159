"""The folder of a field set: its files, its manifest, and what of them is sealed."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from edge.settings import Settings, SettingsError, parse_settings

MANIFEST, SETTINGS, LABELS, SHEET = "manifest.json", "settings.toml", "labels.csv", "sheet.txt"
RECORDINGS = "recordings"
VERSION = 1

HASH_BYTES = 1 << 20


class FieldSetFault(ValueError):
    """The analyst's: a folder that is no field set, or something that cannot belong to one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One recording. hashes: by file name, SHA-256 hex. start_us, end_us: UTC of its rows.

    synchronised: whether its clock says that it was disciplined. settings_sha: of the unit that
    recorded it, "" where the recording does not say.
    """

    name: str
    hashes: Mapping[str, str]
    start_us: int
    end_us: int
    rate_hz: float
    synchronised: bool
    settings_sha: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldSet:
    """labels_sha: of what the labels say, "" while the set is open. sealed: when, by whom."""

    title: str
    settings_hash: str
    recordings: tuple[Entry, ...] = ()
    labels_sha: str = ""
    sealed_at: str = ""
    sealed_by: str = ""

    @property
    def is_sealed(self) -> bool:
        """Whether it may be changed no more."""
        return bool(self.labels_sha)


def file_hash(path: Path) -> str:
    """SHA-256 of a file, hex."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while piece := stream.read(HASH_BYTES):
            digest.update(piece)
    return digest.hexdigest()


def read_set(folder: Path) -> FieldSet:
    """Raises FieldSetFault where there is none, or its manifest was changed by hand."""
    path = folder / MANIFEST
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
        if plain.pop("v") != VERSION or plain.pop("sha256") != _sha(plain):
            raise FieldSetFault(f"{path} is not as it was written; take it from a copy of the set")
        entries = tuple(Entry(**one) for one in plain.pop("recordings"))
        return FieldSet(recordings=entries, **plain)
    except FileNotFoundError:
        raise FieldSetFault(
            f"{folder} is no field set; seafret field-set begin makes one"
        ) from None
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        if isinstance(fault, FieldSetFault):
            raise
        raise FieldSetFault(f"{path} cannot be read ({fault}); take it from a copy") from fault


def write_set(found: FieldSet, folder: Path) -> None:
    """The whole manifest or the one before, whatever happens meanwhile."""
    plain = asdict(found)
    write_whole(
        folder / MANIFEST,
        json.dumps(
            {**plain, "v": VERSION, "sha256": _sha(plain)},
            indent=1,
            ensure_ascii=False,
            sort_keys=True,
        )
        + "\n",
    )


def _sha(plain: Mapping[str, Any]) -> str:
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def write_whole(path: Path, text: str) -> None:
    """Written beside, forced, and put in place."""
    beside = path.with_name(f"{path.name}.part")
    with beside.open("w", encoding="utf-8", newline="") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    beside.replace(path)


def settings_of(folder: Path) -> Settings:
    """The settings that the set's recordings are replayed with. Raises OSError, SettingsError."""
    path = folder / SETTINGS
    try:
        return parse_settings(path.read_text(encoding="utf-8"), str(path))
    except UnicodeDecodeError as fault:
        raise SettingsError(f"{path}: {fault}; write it as UTF-8") from fault


def open_set(folder: Path) -> FieldSet:
    """A set that may still be changed. Raises FieldSetFault."""
    found = read_set(folder)
    if found.is_sealed:
        raise FieldSetFault(
            f"{folder} was sealed by {found.sealed_by} on {found.sealed_at}; copy it, and begin "
            "the copy's labels with a new version"
        )
    return found


def with_entry(found: FieldSet, entry: Entry) -> FieldSet:
    """With one recording more, in order of time."""
    entries = sorted((*found.recordings, entry), key=lambda one: (one.start_us, one.name))
    return replace(found, recordings=tuple(entries))
