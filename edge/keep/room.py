"""How much the durable file may hold, and what happens when the disk itself is full.

The quota is a limit on pages, below the disk's size. In WAL mode even a deletion must first be
written, so a disk filled by others would stop the outbox from freeing itself: a ballast file of
real bytes is given back to the disk when a write fails, and laid again when there is room.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from edge.keep.schema import PAGE_BYTES, pragma_number

BALLAST_BYTES = 256 * 1024
"""Enough for the WAL of several evictions; given up while the disk is full."""

BALLAST_ROOM_BYTES = 4 * BALLAST_BYTES
"""The ballast is only laid again when the disk has this much free, so as not to fill it itself."""

HEADROOM_PAGES = 64
"""SQLite may go this far over the quota while rows are being given up; in between it does not."""

QUOTA_BYTES_MIN = 1024 * 1024
"""A smaller quota is refused: there must be room for state, calibration and alarms."""

SLACK_PAGES = 8
"""Pages of a commit beyond its bodies: lanes, state, splits of the tree."""


class Room:
    """Quota and ballast of one durable file."""

    def __init__(self, path: Path, quota_bytes: int) -> None:
        if quota_bytes < QUOTA_BYTES_MIN:
            raise ValueError(
                f"{path}: a quota of {quota_bytes} bytes; at least {QUOTA_BYTES_MIN} are needed"
            )
        self.quota_bytes = quota_bytes
        self.quota_pages = quota_bytes // PAGE_BYTES
        self.disk_is_full = False
        self._ballast = path.with_name(path.name + ".ballast")

    def limit(self, db: sqlite3.Connection) -> None:
        """Tell SQLite the quota (with its headroom)."""
        pragma_number(db, f"max_page_count={self.quota_pages + HEADROOM_PAGES}")

    def free_pages(self, db: sqlite3.Connection) -> int:
        """Pages that may still be used; while the disk is full, only those inside the file."""
        inside = pragma_number(db, "freelist_count")
        if self.disk_is_full:
            return inside
        return self.quota_pages - pragma_number(db, "page_count") + inside

    def free_ppm(self, db: sqlite3.Connection) -> int:
        """Share of the quota that is free."""
        return max(0, self.free_pages(db) * 1_000_000 // self.quota_pages)

    def give_ballast(self) -> None:
        """Give the ballast back to the disk, and stop growing the file."""
        self.disk_is_full = True
        self._ballast.unlink(missing_ok=True)

    def lay_ballast(self) -> bool:
        """Lay the ballast where it is missing and there is room; True where it then lies."""
        if self._ballast.exists():
            return True
        disk = os.statvfs(self._ballast.parent)
        if disk.f_bavail * disk.f_frsize < BALLAST_ROOM_BYTES:
            return False
        partial = self._ballast.with_suffix(".partial")
        try:
            with partial.open("wb") as ballast:
                ballast.write(os.urandom(BALLAST_BYTES))  # not compressible, not a hole
                ballast.flush()
                os.fsync(ballast.fileno())
            partial.rename(self._ballast)
        except OSError:
            partial.unlink(missing_ok=True)  # the disk has filled in between: as if never tried
            return False
        self.disk_is_full = False
        return True


def pages_of(body_bytes: int, rows: int) -> int:
    """Pages that rows of this many bytes may need, on the safe side."""
    return (body_bytes + 80 * rows) * 5 // (4 * PAGE_BYTES) + SLACK_PAGES
