"""What stands beside an exported table: what each column means, where it is from, and its hash."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from edge.quantities import BY_NAME
from edge.version import __version__
from gateway.exporting.rows import COLUMNS
from gateway.loading.glossary import INTERVAL_MEASURES

_QUANTITIES = {one.column: one.quantity for one in INTERVAL_MEASURES} | {
    "seconds": BY_NAME["duration_us"]
}
_WORDS = {
    "start": "start of the row, UTC, RFC 3339",
    "insulator": "as the register names it",
    "origin": "unit: sent by a unit; loaded: from elsewhere",
    "state": "of the surface, over the row",
    "flags": "doubt that holds for the row, joined by |; empty: none",
}


def manifest_path(table: Path) -> Path:
    """Beside the table."""
    return table.with_name(f"{table.name}.json")


def write_manifest(table: Path, site: str, rows: int) -> None:
    """For a table that is whole. An absent quantity is an empty cell, or null in Parquet."""
    with table.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    plain = {
        "software": f"seafret {__version__}",
        "site": site,
        "file": table.name,
        "sha256": digest,
        "rows": rows,
        "columns": [
            {
                "name": one.name,
                "unit": _QUANTITIES[one.name].unit if one.name in _QUANTITIES else "",
                "meaning": _QUANTITIES[one.name].meaning
                if one.name in _QUANTITIES
                else _WORDS.get(one.name, ""),
            }
            for one in COLUMNS
        ],
    }
    text = json.dumps(plain, indent=2, ensure_ascii=False) + "\n"
    manifest_path(table).write_text(text, encoding="utf-8")
