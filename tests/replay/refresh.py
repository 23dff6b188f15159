"""Takes what the program writes now as golden, with a reason that stays in the file.

    python -m tests.replay.refresh NAME... --reason "what changed, and why it is right"
    python -m tests.replay.refresh --all --reason "..."

Facts are not touched: a recording whose facts fail is refused, for its digests would be wrong ones.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from pathlib import Path

import numpy as np

from edge.version import __version__
from tests.replay.expectation import Golden, Refreshed, read_expectation, with_golden
from tests.replay.fact_check import faults_of
from tests.replay.shelf import EXPECTATION, OUTPUTS, SHELF, Replayed, recordings, replayed

REASON_LETTERS_MIN = 20
"""A shorter reason explains nothing to whoever reviews it."""


def digests_of(found: Replayed) -> dict[str, str]:
    """SHA-256 of each output."""
    return {name: hashlib.sha256((found.out / name).read_bytes()).hexdigest() for name in OUTPUTS}


def refresh(name: str, reason: str, shelf: Path = SHELF) -> list[str]:
    """Refreshes one recording; returns what keeps it from being refreshed, [] where it was.

    Nothing is written where the digests are the same already, or a fact fails.
    """
    path = shelf / f"{name}{EXPECTATION}"
    expectation, found = read_expectation(path), replayed(name, shelf)
    faults = faults_of(expectation, found)
    if faults:
        return faults
    digests = digests_of(found)
    if expectation.golden is not None and expectation.golden.digests == digests:
        return []
    history = expectation.golden.history if expectation.golden else ()
    now = Refreshed(reason, f"seafret {__version__}, numpy {np.__version__}")
    with_golden(path, Golden(digests, (*history, now)))
    return []


def main(arguments: list[str] | None = None) -> int:
    """0 where all were refreshed, 10 where a fact stands against it."""
    parser = argparse.ArgumentParser(prog="python -m tests.replay.refresh")
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--all", action="store_true", help="every recording of the shelf")
    parser.add_argument("--reason", required=True, help="what changed, and why it is right")
    chosen = parser.parse_args(arguments)
    known = recordings()
    names = list(known) if chosen.all else chosen.names
    unknown = [name for name in names if name not in known]
    if not names or unknown:
        parser.error(f"name recordings, or --all; there are {', '.join(known)}")
    if len(chosen.reason.strip()) < REASON_LETTERS_MIN:
        parser.error(f"--reason: {REASON_LETTERS_MIN} letters or more, for whoever reviews it")
    refused = False
    for name in names:
        faults = refresh(name, chosen.reason.strip())
        refused |= bool(faults)
        print(f"{name:<26} {'; '.join(faults) or 'golden'}", flush=True)
    return 10 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
