"""A fleet against a gateway: python -m tests.bench.fleet [--units 1000] [--seconds 20]."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from tests.bench.fleet.loads import load
from tests.bench.fleet.stage import Size
from tests.bench.report import table


def main() -> None:
    """Prints the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.fleet")
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--sites", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--times", type=int, default=200, help="changes sent to be seen")
    parser.add_argument("--database", default="", help="address of PostgreSQL, for its histories")
    asked = parser.parse_args()
    history = f'[history]\naddress = "{asked.database}"\n' if asked.database else ""
    with tempfile.TemporaryDirectory() as folder:
        size = Size(asked.sites, asked.units)
        print(table(load(Path(folder), size, asked.seconds, asked.times, history)), end="")


if __name__ == "__main__":
    main()
