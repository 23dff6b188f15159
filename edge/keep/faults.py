"""What can go wrong with the durable file, by whose fault it is."""

from __future__ import annotations

from pathlib import Path


class StorageFull(OSError):
    """Hardware or installer: nothing left that may be given up. Nothing was committed.

    The file stays usable; the caller keeps its records and tries again.
    """


class StorageFault(OSError):
    """Hardware: a write, a sync or a page failed. The handle is closed and must be opened anew.

    Whether the last commit reached the disk is not known: after opening, compare the last sequence
    numbers with those before, and repeat the commit only if they are the same.
    """


class FileInUse(RuntimeError):
    """Installer: another process holds this data folder."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"{path}: another process holds this file; one unit needs one data folder of its own"
        )


class ForeignFile(RuntimeError):
    """Installer: the file belongs to another unit, or to a newer release."""
