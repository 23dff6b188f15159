"""Stored recordings as one feed: files found, opened in place, put in order of time."""

from __future__ import annotations

import hashlib
import mmap
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import tzinfo
from pathlib import Path
from typing import TypeVar

from edge.recording import Record, RecordingError, feed, read_pair, read_single_file
from edge.samples import SignalDescription, SourceItem

BLOCK_SAMPLES = 262_144
"""Samples taken at a time; bounds the memory and changes nothing in the results."""

HASH_BYTES = 8 << 20
"""Bytes hashed at a time, then given back to the system."""

RELEASE_BLOCKS = 4
"""After so many blocks the pages read so far are given back, so that memory stays flat however
long the feed is; what is read again comes from the system's file cache."""


ResultT = TypeVar("ResultT")


@dataclass(frozen=True, slots=True)
class FeedFile:
    """One file of a feed. sha256: of its bytes, hex."""

    path: Path
    sha256: str


Content = mmap.mmap | bytes


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """A recording and its files as they were named, mapped."""

    record: Record
    path: Path
    contents: tuple[tuple[Path, Content], ...]


@dataclass(frozen=True, slots=True)
class Broken:
    """A recording that was passed over, and why."""

    path: Path
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """Recordings, with all that a run wants to say about them.

    opened: as they were named. broken: beside them, what was passed over.
    """

    opened: tuple[Opened, ...]
    broken: tuple[Broken, ...] = ()

    @property
    def in_time(self) -> tuple[Opened, ...]:
        """In order of their starts."""
        order = range(len(self.opened))
        starts = [one.record.header.start_utc_ns for one in self.opened]
        return tuple(self.opened[at] for at in sorted(order, key=lambda at: (starts[at], at)))

    @property
    def records(self) -> tuple[Record, ...]:
        """In order of time."""
        return tuple(one.record for one in self.in_time)

    @property
    def contents(self) -> tuple[tuple[Path, Content], ...]:
        """All files, in the order of their names as given."""
        return tuple(content for one in self.opened for content in one.contents)

    @property
    def description(self) -> SignalDescription:
        """Of the first record; the others must be alike, which is checked as they are read."""
        return self.records[0].description

    @property
    def flags(self) -> tuple[str, ...]:
        """Doubt that holds for every row, sorted."""
        return tuple(sorted({flag.value for one in self.opened for flag in one.record.flags}))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Warnings of all records, each once."""
        return tuple(dict.fromkeys(text for one in self.records for text in one.warnings))

    def items(self, block_samples: int = BLOCK_SAMPLES) -> Iterator[SourceItem]:
        """The one signal, as a source gives it."""
        return _items(self.in_time, block_samples, lambda: None)

    def files(self) -> tuple[FeedFile, ...]:
        """Every file with its hash, which reads all of it; those that were passed over as well, as
        far as they can be read."""
        beside = (one.path for one in self.broken)
        return (
            *(_file(path, content) for path, content in self.contents),
            *(_file(path, _mapped(path)) for path in beside if path.is_file()),
        )

    @property
    def digest(self) -> str:
        """One hash of all recordings that are played, hex."""
        found = hashlib.sha256()
        for path, content in self.contents:
            found.update(_file(path, content).sha256.encode())
        return found.hexdigest()

    def without(self, odd: Opened, text: str) -> Feed:
        """With one recording passed over."""
        rest = tuple(one for one in self.opened if one is not odd)
        return replace(self, opened=rest, broken=(*self.broken, Broken(odd.path, text)))

    def sound(self, read: Callable[[Iterator[SourceItem]], ResultT]) -> tuple[Feed, ResultT]:
        """(those that can be read to their ends as one signal, what `read` made of all its items).

        Raises RecordingError where none is left.
        """
        feed = _alike(self)
        while True:
            taken = 0

            def count() -> None:
                nonlocal taken
                taken += 1

            try:
                return feed, read(_items(feed.in_time, BLOCK_SAMPLES, count))
            except RecordingError as fault:
                if len(feed.opened) == 1:
                    raise
                odd = feed.in_time[taken - 1]
                feed = feed.without(odd, _without_folder(fault, odd.path))


def _items(
    in_time: Sequence[Opened], block_samples: int, on_record: Callable[[], None]
) -> Iterator[SourceItem]:
    def records() -> Iterator[Record]:
        for one in in_time:
            on_record()
            yield one.record

    contents = [content for one in in_time for _, content in one.contents]
    for number, item in enumerate(feed(records(), block_samples=block_samples), 1):
        yield item
        if number % RELEASE_BLOCKS == 0:
            for content in contents:
                _release(content)


def _alike(feed: Feed) -> Feed:
    """Records with other channels or rates than most of them have are passed over."""
    descriptions = [one.record.description for one in feed.in_time]
    counts = Counter(map(repr, descriptions))
    usual = max(counts, key=lambda text: counts[text])
    for one, description in zip(feed.in_time, descriptions, strict=True):
        if repr(description) != usual:
            text = (
                f"{one.path.name}: other channels, scales or rate than most; allowed: the same in "
                "all records of a feed; feed it separately"
            )
            feed = feed.without(one, text)
    return feed


def _without_folder(fault: Exception, path: Path) -> str:
    """The same text wherever the recording lies, so that a result can be made again elsewhere."""
    return str(fault).replace(f"{path.parent}/", "")


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
def opened_feed(
    paths: Sequence[Path], zone: tzinfo | None = None, *, pass_over: bool = False
) -> Iterator[Feed]:
    """A feed whose files stay mapped while the block runs. Raises RecordingError.

    pass_over: recordings that cannot be opened are left out and named, while one is left.
    """
    opened: list[Opened] = []
    broken: list[Broken] = []
    first: RecordingError | None = None
    for path in recordings_in(paths):
        try:
            opened.append(_opened(path, zone))
        except RecordingError as fault:
            if not pass_over:
                raise
            first = first or fault
            broken.append(Broken(path, _without_folder(fault, path)))
    if first is not None and not opened:
        raise first
    yield Feed(tuple(opened), tuple(broken))


def _opened(path: Path, zone: tzinfo | None) -> Opened:
    content = _mapped(path)
    if path.suffix.lower() == ".cff":
        record = read_single_file(content, name=path.name, zone=zone)
        return Opened(record, path, ((path, content),))
    rows_path = _rows_beside(path)
    rows = _mapped(rows_path)
    record = read_pair(content, rows, name=path.name, zone=zone)
    return Opened(record, path, ((path, content), (rows_path, rows)))


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
