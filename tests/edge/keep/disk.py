"""What a process did to a folder's files, and what a cut at any point would have left there.

The model of a power cut: everything covered by the last sync of a file is there; of what was
written to it after, every 512-byte sector is there, or not, by chance (a few are garbage). Names in
the folder are taken as durable. The memory index of the WAL (-shm) is lost.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
SECTOR_BYTES = 512
GARBAGE_PERCENT = 5
ROOT = HERE.parents[2]


@dataclass(frozen=True, slots=True)
class Entry:
    """kind: w (write), t (cut to `offset` bytes), s (sync), u (removed)."""

    kind: str
    name: str
    offset: int
    content: bytes


def build_shim(folder: Path) -> Path:
    """The watching library, compiled."""
    library = folder / "disk_shim.so"
    source = str(HERE / "disk_shim.c")
    command = ["gcc", "-shared", "-fPIC", "-O2", "-Wall", "-o", str(library), source, "-ldl"]
    subprocess.run(command, check=True)
    return library


def run_watched(
    library: Path, folder: Path, script: Sequence[str], **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run a module of the tests with its writes below `folder` watched."""
    watched = {**os.environ, "LD_PRELOAD": str(library), "DISK_FOLDER": str(folder)}
    return subprocess.run(
        [sys.executable, "-m", *script],
        env={**watched, **environment},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
    )


def read_log(path: Path) -> list[Entry]:
    """The entries in the order in which they were done."""
    return list(_entries(path.read_bytes()))


def _entries(log: bytes) -> Iterator[Entry]:
    at = 0
    while at < len(log):
        kind = chr(log[at])
        path_length = int.from_bytes(log[at + 1 : at + 5], "little")
        offset = int.from_bytes(log[at + 5 : at + 13], "little")
        size = int.from_bytes(log[at + 13 : at + 21], "little")
        at += 21
        name = Path(log[at : at + path_length].decode()).name
        at += path_length
        stored = size if kind == "w" else 0
        yield Entry(kind, name, offset, log[at : at + stored])
        at += stored


class Disk:
    """Files as the process sees them (`seen`) and as the last syncs left them (`durable`)."""

    def __init__(self) -> None:
        self.seen: dict[str, bytearray] = {}
        self.durable: dict[str, bytes] = {}
        self.pending: dict[str, list[Entry]] = {}

    def do(self, entry: Entry) -> None:
        if entry.kind == "u":
            for known in (self.seen, self.durable, self.pending):
                known.pop(entry.name, None)
            return
        if entry.kind == "s":
            if entry.name in self.seen:  # not the folder
                self.durable[entry.name] = bytes(self.seen[entry.name])
                self.pending[entry.name] = []
            return
        content = self.seen.setdefault(entry.name, bytearray())
        _apply(content, entry)
        self.pending.setdefault(entry.name, []).append(entry)

    def after_kill(self) -> dict[str, bytes]:
        """What is there when the process dies and the machine lives on."""
        return {name: bytes(content) for name, content in self.seen.items()}

    def after_power_cut(self, chance: random.Random) -> dict[str, bytes]:
        """What may be there when the power goes."""
        found: dict[str, bytes] = {}
        for name in self.seen:
            content = bytearray(self.durable.get(name, b""))
            for entry in self.pending.get(name, ()):
                for part in _sectors(entry):
                    if chance.random() < 0.5:
                        _apply(content, _perhaps_garbage(part, chance))
            found[name] = bytes(content)
        return found


def _apply(content: bytearray, entry: Entry) -> None:
    if entry.kind == "t":
        del content[entry.offset :]
        content.extend(bytes(entry.offset - len(content)))
        return
    end = entry.offset + len(entry.content)
    content.extend(bytes(max(0, end - len(content))))
    content[entry.offset : end] = entry.content


def _sectors(entry: Entry) -> Iterator[Entry]:
    if entry.kind == "t":
        yield entry
        return
    at = entry.offset
    while at < entry.offset + len(entry.content):
        end = min((at // SECTOR_BYTES + 1) * SECTOR_BYTES, entry.offset + len(entry.content))
        part = entry.content[at - entry.offset : end - entry.offset]
        yield Entry("w", entry.name, at, part)
        at = end


def _perhaps_garbage(entry: Entry, chance: random.Random) -> Entry:
    if entry.kind == "w" and chance.randrange(100) < GARBAGE_PERCENT:
        return Entry("w", entry.name, entry.offset, chance.randbytes(len(entry.content)))
    return entry


def lay_out(folder: Path, files: dict[str, bytes], leave_out: str = "-shm") -> None:
    """Put the files of a cut into an empty folder."""
    folder.mkdir(parents=True)
    for name, content in files.items():
        if not name.endswith(leave_out):
            (folder / name).write_bytes(content)
