"""Refused rows, kept beside the data as a CSV that can be mended and loaded again."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Sequence
from pathlib import Path

from gateway.loading.lines import Refusal, opened, reader_of

FOLDER = "refused"
WHY = ("refused_line", "refused_column", "refused_reason")
"""Columns before those of the file itself."""


def keep_refused(data: Path, site: str, path: Path, refusals: Sequence[Refusal]) -> Path:
    """Writes the rows with their reasons; the same file gives the same name and bytes."""
    with path.open("rb") as raw:
        sha = hashlib.file_digest(raw, "sha256").hexdigest()
    kept = data / FOLDER / site / f"{path.stem}-{sha[:8]}.csv"
    kept.parent.mkdir(parents=True, exist_ok=True)
    part = kept.with_suffix(".part")
    with (
        opened(path) as stream,
        part.open("w", encoding="utf-8", errors="backslashreplace", newline="") as out,
    ):
        rows = reader_of(stream)
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow((*WHY, *next(rows)))
        waiting = {one.line: one for one in refusals}
        before = rows.line_num
        for cells in rows:
            refusal = waiting.get(before + 1)
            if refusal is not None:
                writer.writerow((refusal.line, refusal.column, refusal.reason, *cells))
            before = rows.line_num
    part.replace(kept)
    return kept
