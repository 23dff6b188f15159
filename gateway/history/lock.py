"""One program at a time writes a data folder.

The lock belongs to the open file, so the system gives it back however its holder ends.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway.history.store import HistoryFault

LOCK_NAME = "held-by"


class DataHeld(HistoryFault):
    """Another program writes this folder now."""


@contextmanager
def hold_data(folder: Path, program: str) -> Iterator[None]:
    """Holds `folder` for writing; `program` is what another one is told.

    Raises DataHeld, naming the holder, where it is taken, and HistoryFault where the folder cannot
    be made or written.
    """
    handle = _open(folder)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as fault:
            raise DataHeld(_refusal(folder, os.pread(handle, 200, 0))) from fault
        os.ftruncate(handle, 0)
        os.pwrite(handle, f"{program} (process {os.getpid()})".encode(), 0)
        yield
    finally:
        os.close(handle)


def _open(folder: Path) -> int:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return os.open(folder / LOCK_NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError as fault:
        raise HistoryFault(
            f"data folder {folder}: {fault.strerror}; it must be a folder that this user can write"
        ) from fault


def _refusal(folder: Path, holder: bytes) -> str:
    name = holder.decode(errors="replace") or "another program"
    return f"data folder {folder} is held by {name}; stop it first, or use another folder"
