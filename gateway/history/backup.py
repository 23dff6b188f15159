"""Back-up of all that a data folder keeps, and the way back.

A back-up is a folder of whole SQLite files and a list with their SHA-256, written last: without the
list it is none. Files are copied by SQLite's own back-up in one step, a single moment of each,
while the gateway goes on writing. Nothing is ever written over: what a restore replaces is put
aside.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import quote

from gateway.history.lock import hold_data
from gateway.history.store import HistoryFault

SUFFIX = ".sqlite3"
LIST_NAME = "backup.json"
FORMAT = "seafret-backup-1"
STAMP = "%Y%m%dT%H%M%SZ"
CUT_AFTER = timedelta(days=1)
"""A back-up that is not whole and so much older than the newest whole one was cut off."""
_STAMPED = re.compile(r"\d{8}T\d{6}Z")
_FILE = re.compile(r"_?[a-z0-9-]{1,40}\.sqlite3")


@dataclass(frozen=True, slots=True)
class Saved:
    """One file of a back-up."""

    name: str
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Backup:
    """A whole back-up. taken: UTC, RFC 3339."""

    folder: Path
    taken: str
    files: tuple[Saved, ...]


def back_up(data: Path, out: Path, at_us: int) -> Backup:
    """A new folder below `out`, named by its time, of all files in `data`. Raises HistoryFault."""
    names = sorted(path.name for path in data.glob(f"*{SUFFIX}"))
    if not names:
        raise HistoryFault(f"{data} holds no history; name the folder that the gateway writes")
    taken = datetime.fromtimestamp(at_us / 1e6, UTC)
    folder = out / taken.strftime(STAMP)
    part = folder.with_name(f"{folder.name}.part")
    with _told(f"back-up {folder}"):
        if folder.exists():
            raise FileExistsError(17, "it is there already; wait a second")
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True, mode=0o700)
        files = tuple(_copied(data / name, part / name) for name in names)
        made = Backup(folder, taken.isoformat(timespec="seconds"), files)
        _write_list(part / LIST_NAME, made)
        part.rename(folder)
        _sync(out)
    return made


def prune(out: Path, keep: int) -> list[Path]:
    """Takes away all whole back-ups but the newest `keep`, and what is left of those that were cut
    off; which ones."""
    whole = sorted(
        path for path in out.iterdir() if _STAMPED.fullmatch(path.name) and _is_whole(path)
    )
    gone = whole[:-keep] if keep else whole
    gone += [path for path in sorted(out.glob("*.part")) if whole and _is_cut(path, whole[-1])]
    for path in gone:
        shutil.rmtree(path)
    return gone


def read_backup(folder: Path) -> Backup:
    """The back-up in a folder, each file as it was written. Raises HistoryFault."""
    with _told(f"back-up {folder}"):
        listed = json.loads((folder / LIST_NAME).read_text(encoding="utf-8"))
        if not isinstance(listed, dict) or listed.get("format") != FORMAT:
            raise ValueError(f"its list must say format {FORMAT}")
        files = tuple(Saved(**one) for one in listed["files"])
        for one in files:
            if not _FILE.fullmatch(one.name):
                raise ValueError(f"its list names {one.name!r}")
            if _sha256(folder / one.name) != one.sha256:
                raise ValueError(f"{one.name} is not what was written; take another back-up")
        return Backup(folder, str(listed["taken"]), files)


def restore(backup: Backup, names: Iterable[str], data: Path, at_us: int) -> Path | None:
    """Puts files of a back-up in the place of those in `data`; the folder of what was put aside.

    Raises HistoryFault, and DataHeld where a gateway runs. Until all copies are whole nothing is
    put aside.
    """
    wanted = sorted(names)
    stamp = datetime.fromtimestamp(at_us / 1e6, UTC).strftime(STAMP)
    aside = data / f"before-restore-{stamp}"
    with hold_data(data, "seafret restore"), _told(f"restore into {data}"):
        for name in wanted:
            shutil.copyfile(backup.folder / name, data / f"{name}.restored")
            _sync(data / f"{name}.restored")
        for name in wanted:
            for old in (path for s in ("", "-wal", "-shm") if (path := data / (name + s)).exists()):
                aside.mkdir(exist_ok=True)
                old.rename(aside / old.name)
            (data / f"{name}.restored").rename(data / name)
        _sync(data)
    return aside if aside.exists() else None


def _copied(source: Path, target: Path) -> Saved:
    address = f"file:{quote(str(source.resolve()))}?mode=ro"
    with (
        closing(sqlite3.connect(address, uri=True)) as from_,
        closing(sqlite3.connect(target)) as to,
    ):
        from_.execute("PRAGMA busy_timeout = 5000")
        from_.backup(to)
        found = to.execute("PRAGMA quick_check").fetchone()[0]
        if found != "ok":
            raise ValueError(f"{source} is damaged: {found}; keep it, and restore an older back-up")
    target.chmod(0o600)
    _sync(target)
    return Saved(target.name, target.stat().st_size, _sha256(target))


def _write_list(path: Path, backup: Backup) -> None:
    files = [
        {"name": one.name, "size_bytes": one.size_bytes, "sha256": one.sha256}
        for one in backup.files
    ]
    listed = {"format": FORMAT, "taken": backup.taken, "files": files}
    path.write_text(json.dumps(listed, indent=2) + "\n", encoding="utf-8")
    _sync(path)


def _is_cut(part: Path, newest: Path) -> bool:
    if not _STAMPED.fullmatch(part.stem):
        return False
    begun, taken = (datetime.strptime(one, STAMP) for one in (part.stem, newest.name))
    return taken - begun >= CUT_AFTER


def _is_whole(folder: Path) -> bool:
    return (folder / LIST_NAME).exists()


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def _told(where: str) -> Iterator[None]:
    """Faults of disk, database and list as one that says where."""
    try:
        yield
    except HistoryFault:
        raise
    except OSError as fault:
        raise HistoryFault(f"{where}: {fault.filename or ''} {fault.strerror or fault}") from fault
    except (sqlite3.Error, ValueError, KeyError, TypeError) as fault:
        raise HistoryFault(f"{where}: {fault}") from fault
