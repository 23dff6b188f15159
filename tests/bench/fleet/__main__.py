"""A fleet against a gateway: python -m tests.bench.fleet [--units 1000] [--seconds 20]."""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bench.fleet.growing import growing
from tests.bench.fleet.loads import load, workers_load
from tests.bench.fleet.stage import Size
from tests.bench.report import table


def main() -> None:
    """Prints the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.fleet")
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--sites", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--times", type=int, default=200, help="changes sent to be seen")
    parser.add_argument("--in-flight", type=int, default=0, help="at the broker; else as deployed")
    parser.add_argument("--postgres", action="store_true", help="on a server started for it")
    parser.add_argument("--workers", type=int, nargs="*", default=[], help="seafret ingest, each")
    parser.add_argument("--growth", action="store_true", help="questions as rows grow, alone")
    asked = parser.parse_args()
    if asked.growth:
        with tempfile.TemporaryDirectory() as inside:
            print(table(growing(Path(inside), rounds=5)), end="")
        return
    size = Size(asked.sites, asked.units, in_flight=asked.in_flight)
    found = []
    for workers in asked.workers or [0]:
        with tempfile.TemporaryDirectory() as inside, database(asked.postgres) as history:
            at = Path(inside)
            if workers:
                found += workers_load(at, size, asked.seconds, history, workers)
            else:
                found += load(at, size, asked.seconds, asked.times, history)
    print(table(found), end="")


@contextmanager
def database(wanted: bool) -> Iterator[str]:
    """Lines of settings that name a durable server's database, while the block runs."""
    if not wanted:
        yield ""
        return
    from tests.postgres import Server

    server = Server(durable=True)
    server.start()
    try:
        yield f'[history]\naddress = "{server.address()}"\n'
    finally:
        server.remove()


if __name__ == "__main__":
    main()
