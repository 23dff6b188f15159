"""Stored recordings as one feed: files found, opened in place, put in order of time."""

from __future__ import annotations

import hashlib
import mmap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from edge.recording import Record, RecordingError, feed, read_pair, read_single_file
from edge.samples import SignalDescription, SourceItem

BLOCK_SAMPLES = 262_144
"""Samples taken at a time; bounds the memory and changes nothing in the results."""

HASH_BYTES = 8 << 20
"""Bytes hashed at a time, then given back to the system."""

RELEASE_BLOCKS = 4
"""After so many blocks the pages read so far are given back, so that memory stays flat however
long the feed is; what is read again comes from the system's file cache."""


@dataclass(frozen=True, slots=True)
class FeedFile:
    """One file of a feed. sha256: of its bytes, hex."""

    path: Path
    sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """Recordings in order of time, with all that a run wants to say about them.

    contents: the files as they were named, mapped.
    """

    records: tuple[Record, ...]
    contents: tuple[tuple[Path, mmap.mmap | bytes], ...]

    @property
    def description(self) -> SignalDescription:
        """Of the first record; the others must be alike, which is checked as they are read."""
        return self.records[0].description

    @property
    def flags(self) -> tuple[str, ...]:
        """Doubt that holds for every row, sorted."""
        return tuple(sorted({flag.value for record in self.records for flag in record.flags}))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Warnings of all records, each once."""
        return tuple(dict.fromkeys(text for one in self.records for text in one.warnings))

    def items(self, block_samples: int = BLOCK_SAMPLES) -> Iterator[SourceItem]:
        """The one signal, as a source gives it."""
        for number, item in enumerate(feed(self.records, block_samples=block_samples), 1):
            yield item
            if number % RELEASE_BLOCKS == 0:
                for _, content in self.contents:
                    _release(content)

    def files(self) -> tuple[FeedFile, ...]:
        """Every file with its hash, which reads all of it."""
        return tuple(_file(path, content) for path, content in self.contents)


def recordings_in(paths: Sequence[Path]) -> list[Path]:
    """The .cfg and .cff files that paths name, folders looked through, each once.

    Raises RecordingError where a path is neither, or a folder holds none.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(one for one in path.rglob("*") if _is_recording(one))
            if not inside:
                raise RecordingError(str(path), "no recording", ".cfg or .cff files", "name others")
            found += inside
        elif path.is_file() and _is_recording(path):
            found.append(path)
        else:
            what = "another kind of file" if path.is_file() else "nothing there"
            raise RecordingError(
                str(path), what, "a .cfg with its .dat, a .cff, or a folder of them", "name it"
            )
    return list(dict.fromkeys(found))


def _is_recording(path: Path) -> bool:
    return path.suffix.lower() in (".cfg", ".cff") and path.is_file()


@contextmanager
def opened_feed(paths: Sequence[Path], zone: tzinfo | None = None) -> Iterator[Feed]:
    """A feed whose files stay mapped while the block runs. Raises RecordingError."""
    records: list[Record] = []
    contents: list[tuple[Path, mmap.mmap | bytes]] = []
    for path in recordings_in(paths):
        record, used = _opened(path, zone)
        records.append(record)
        contents += used
    order = sorted(range(len(records)), key=lambda i: (records[i].header.start_utc_ns, i))
    yield Feed(tuple(records[i] for i in order), tuple(contents))


def _opened(path: Path, zone: tzinfo | None) -> tuple[Record, list[tuple[Path, mmap.mmap | bytes]]]:
    content = _mapped(path)
    if path.suffix.lower() == ".cff":
        return read_single_file(content, name=path.name, zone=zone), [(path, content)]
    rows_path = _rows_beside(path)
    rows = _mapped(rows_path)
    record = read_pair(content, rows, name=path.name, zone=zone)
    return record, [(path, content), (rows_path, rows)]


def _rows_beside(path: Path) -> Path:
    for suffix in (".dat", ".DAT", ".Dat"):
        if path.with_suffix(suffix).is_file():
            return path.with_suffix(suffix)
    raise RecordingError(
        str(path), "no .dat beside it", "a .cfg and a .dat of the same name", "copy both"
    )


def _mapped(path: Path) -> mmap.mmap | bytes:
    with path.open("rb") as stream:
        if path.stat().st_size == 0:
            return b""
        return mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)


def _file(path: Path, content: mmap.mmap | bytes) -> FeedFile:
    digest = hashlib.sha256()
    view = memoryview(content)
    for start in range(0, len(view), HASH_BYTES):
        digest.update(view[start : start + HASH_BYTES])
        _release(content)
    return FeedFile(path, digest.hexdigest())


def _release(content: mmap.mmap | bytes) -> None:
    """Gives mapped pages back to the system, where it can be told so; nothing is lost by it."""
    if isinstance(content, mmap.mmap) and hasattr(mmap, "MADV_DONTNEED"):
        content.madvise(mmap.MADV_DONTNEED)
