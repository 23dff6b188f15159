"""Stored COMTRADE recordings as a source: files found, mapped, put in order of time."""

from __future__ import annotations

import mmap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from edge.recording import Record, RecordingError, feed, read_pair, read_single_file
from edge.samples import SignalDescription, SourceItem

ENDINGS = (".cfg", ".cff")
ROW_ENDINGS = (".dat", ".DAT", ".Dat")


@dataclass(frozen=True, slots=True, eq=False)
class Recordings:
    """Records in order of time; the maps stay open as long as this lives."""

    records: tuple[Record, ...]

    @property
    def description(self) -> SignalDescription:
        """Of the first; that the others are alike is checked as they are read."""
        return self.records[0].description

    @property
    def flags(self) -> tuple[str, ...]:
        """Doubt that holds for every row, sorted."""
        return tuple(sorted({flag.value for record in self.records for flag in record.flags}))

    @property
    def cut(self) -> str:
        """Which recordings end before they say so; "" where all are whole."""
        return "; ".join(record.cut for record in self.records if record.cut)

    @property
    def identity(self) -> str:
        """Tells these recordings from others: names, starts and numbers of rows."""
        return "; ".join(
            f"{one.name} {one.header.start_utc_ns} {one.rows.count}" for one in self.records
        )

    def items(self, block_samples: int) -> Iterator[SourceItem]:
        """The one signal. Raises RecordingError."""
        return feed(self.records, block_samples=block_samples)


def open_recordings(path: Path) -> Recordings:
    """The recordings that `path` names: a .cfg (its .dat beside it), a .cff, or a folder of them.

    Raises RecordingError.
    """
    if path.is_dir():
        found = sorted(one for one in path.rglob("*") if _is_recording(one))
    else:
        found = [path] if _is_recording(path) else []
    if not found:
        raise RecordingError(
            str(path), "no recording there", "a .cfg with its .dat, a .cff or a folder", "name one"
        )
    records = sorted(map(_opened, found), key=lambda record: record.header.start_utc_ns)
    return Recordings(tuple(records))


def _is_recording(path: Path) -> bool:
    return path.suffix.lower() in ENDINGS and path.is_file()


def _opened(path: Path) -> Record:
    if path.suffix.lower() == ".cff":
        return read_single_file(_mapped(path), name=path.name)
    for ending in ROW_ENDINGS:
        if (rows := path.with_suffix(ending)).is_file():
            return read_pair(_mapped(path), _mapped(rows), name=path.name)
    raise RecordingError(str(path), "no .dat beside it", "a .cfg and a .dat", "copy both")


def _mapped(path: Path) -> mmap.mmap | bytes:
    with path.open("rb") as stream:
        if path.stat().st_size == 0:
            return b""
        return mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)
