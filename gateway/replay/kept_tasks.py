"""Results of tasks that are done, kept until a run has ended, so that a stopped one goes on."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

from gateway.replay.spreading import Workers

TaskT = TypeVar("TaskT")
ResultT = TypeVar("ResultT")
Codec = tuple[Callable[[ResultT], Any], Callable[[Any], ResultT]]
"""To plain JSON, and back."""

FOLDER = "kept"


class KeptTasks:
    """A file a task in a folder. identity: whatever else the results depend on, as text."""

    def __init__(self, out: Path, identity: str) -> None:
        self._folder = out / FOLDER
        self._identity = identity
        self.resumed = 0

    def results(
        self,
        workers: Workers,
        work: Callable[[TaskT], ResultT],
        tasks: Sequence[TaskT],
        codec: Codec[ResultT],
    ) -> Iterator[ResultT]:
        """In the order of the tasks; those that are kept are not done again."""
        to_plain, from_plain = codec
        paths = [self._path(task) for task in tasks]
        there = [path.is_file() for path in paths]
        self.resumed += sum(there)
        left = [task for task, done in zip(tasks, there, strict=True) if not done]
        fresh = iter(workers.results(work, left))
        self._folder.mkdir(parents=True, exist_ok=True)
        for path, done in zip(paths, there, strict=True):
            if done:
                yield from_plain(json.loads(path.read_text(encoding="utf-8")))
                continue
            result = next(fresh)
            self._keep(path, to_plain(result))
            yield result

    def forget(self) -> None:
        """Nothing is kept any more."""
        shutil.rmtree(self._folder, ignore_errors=True)

    def _path(self, task: object) -> Path:
        name = sha256(f"{self._identity} {task!r}".encode()).hexdigest()[:32]
        return self._folder / f"{name}.json"

    def _keep(self, path: Path, plain: Any) -> None:
        part = path.with_suffix(".part")
        with part.open("w", encoding="utf-8") as stream:
            json.dump(plain, stream)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
