"""Changes of limits in a time, from the gateway's book of limits, for the report.

The book may be in use by a running gateway, so its file is opened for reading alone.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from urllib.parse import quote

from gateway.books import FILE_NAME, BookFault
from gateway.limits.book import BOOK, read_line
from gateway.report.facts import LimitChange
from gateway.trends.columns import Period


def limit_changes(data: Path, site: str, month: Period) -> tuple[LimitChange, ...]:
    """Those of the site's units in the month, in order; none where there is no book.

    Raises BookFault, LineFault.
    """
    path = data / FILE_NAME
    if not path.exists():
        return ()
    try:
        book = sqlite3.connect(f"file:{quote(str(path.resolve()))}?mode=ro", uri=True)
        try:
            rows = book.execute(
                "SELECT body FROM book WHERE name = ? AND at_us >= ? AND at_us < ? ORDER BY number",
                (BOOK, month.from_us, month.to_us),
            ).fetchall()
        finally:
            book.close()
    except sqlite3.Error as fault:
        raise BookFault(f"books {path}: {fault}; it must be a readable file") from fault
    lines = [read_line(body) for (body,) in rows]
    return tuple(
        LimitChange(one.at_us, one.unit, one.what.value, one.version, one.who, one.reason)
        for one in lines
        if one.unit.startswith(f"{site}.")
    )
