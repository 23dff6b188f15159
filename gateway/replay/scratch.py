"""A replay's records in a history of its own, to be looked at like any other: in `seafret trend`,
`report`, `export`, or a console that is started on the folder.

It is never the live one: a folder with histories in it that no replay made is refused. The epoch
derives from the hashes of what was replayed, so the same replay leaves the same lines, and one that
was stopped goes on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from contextlib import ExitStack
from hashlib import sha256
from pathlib import Path
from types import TracebackType

from edge.records import STREAM_OF, EpochStart, Record, Stream
from edge.settings import Settings
from edge.wire import body_line
from gateway.history.lock import hold_data
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Commit, Entry, MarkMove, StreamKey
from gateway.replay.results import ResultFault

MARKER = "replayed.txt"
"""Is in a folder that replays may write histories to."""

UNIT = "replay.scratch"
"""Of a replay without settings."""

COMMIT_RECORDS = 2000
BOOT, CLOCK = "replay", "record"


def scratch_unit(settings: Settings | None) -> str:
    """The unit under which records are kept; its site is what stands before the dot."""
    return UNIT if settings is None else settings.unit.id


class Scratch:
    """The history of one unit in a folder, made where it is missing, while the block runs.

    digest: of what is replayed, hex. Raises ResultFault where the folder is somebody else's.
    """

    def __init__(self, folder: Path, unit: str, digest: str) -> None:
        self._held = ExitStack()
        self._held.enter_context(hold_data(folder, "seafret replay"))
        _claim(folder)
        self._unit, self._epoch = unit, f"1-{digest[:16]}"
        self._writer = SqliteHistory(folder).writer(unit.partition(".")[0])
        self._held.callback(self._writer.close)
        self._upto = {
            key.stream: mark.upto
            for key, mark in self._writer.marks().items()
            if (key.unit, key.epoch) == (unit, self._epoch)
        }
        self._numbers: dict[Stream, int] = defaultdict(int)
        self._waiting: list[Entry] = []

    def __enter__(self) -> Scratch:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with self._held:
            if kind is None:
                self.flush()

    @property
    def numbers(self) -> dict[str, int]:
        """The last number given in each stream; `go_on` takes them again."""
        return {stream.value: number for stream, number in self._numbers.items()}

    def go_on(self, numbers: dict[str, int]) -> None:
        """Where a stopped run stood."""
        self._numbers.update({Stream(name): number for name, number in numbers.items()})

    def take(self, records: Iterable[Record]) -> None:
        """Records as their unit would have sent them; those that are there already are passed
        over."""
        for record in records:
            stream = STREAM_OF[type(record)]
            if not self._numbers[stream]:
                self._add(stream, EpochStart(previous_epoch="", previous_last=0, reason="replayed"))
            self._add(stream, record)
        if len(self._waiting) >= COMMIT_RECORDS:
            self.flush()

    def _add(self, stream: Stream, record: Record) -> None:
        self._numbers[stream] += 1
        number = self._numbers[stream]
        if number > self._upto.get(stream, 0):
            body = body_line(record)
            key = StreamKey(self._unit, self._epoch, stream)
            digest = sha256(body).digest()[:16]
            self._waiting.append(Entry(key, number, digest, body, record, BOOT, CLOCK, 0, 0))

    def flush(self) -> None:
        """What waits is in the history on return."""
        moves = {}
        for entry in self._waiting:
            stream = entry.key.stream
            moves[entry.key] = MarkMove(self._upto.get(stream), entry.seq)
        if moves:
            self._writer.append(Commit(0, tuple(self._waiting), moves))
            self._upto.update({key.stream: move.upto for key, move in moves.items()})
        self._waiting = []


def _claim(folder: Path) -> None:
    if not (folder / MARKER).is_file() and any(folder.glob("*.sqlite3")):
        raise ResultFault(
            f"{folder}: has histories that no replay made; name a folder of its own for what is "
            "replayed"
        )
    (folder / MARKER).write_text(
        "Histories in this folder were made by seafret replay: what limits would have said, not\n"
        "what units sent. Delete the folder when it is no longer needed.\n",
        encoding="utf-8",
    )
