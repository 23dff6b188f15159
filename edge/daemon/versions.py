"""What a started unit runs on, so that a fault can be told from a version."""

from __future__ import annotations

import platform
import sqlite3
import ssl

import numpy as np

from edge.version import __version__


def versions() -> dict[str, str]:
    """Ours, and those of what a fault may come from."""
    return {
        "software": __version__,
        "python": platform.python_version(),
        "sqlite": sqlite3.sqlite_version,
        "openssl": ssl.OPENSSL_VERSION,
        "numpy": np.__version__,
        "kernel": platform.release(),
    }
