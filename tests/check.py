"""The one check command: format, lint, types, tests. It never edits a file.

    python tests/check.py                       everything
    python tests/check.py --long                with the long forms of the campaigns
    python tests/check.py -- -q tests/house     what follows goes to pytest

Every step runs even where an earlier one failed. The exit code is 0 only if all of them passed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(TOP))

from tests.house import measures  # noqa: E402

CODE = ("edge", "gateway", "tests", "deploy")

WORKERS_MAX = "2"
"""Tests start brokers and daemons of their own; more workers than this starve them of a core."""

BEFORE_THE_TESTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("format", ("ruff", "format", "--quiet", "--check", *CODE)),
    ("lint", ("ruff", "check", "--quiet", *CODE)),
    ("types", ("mypy", "--no-error-summary")),
)

PYTEST = ("pytest", "-n", "auto", "--maxprocesses", WORKERS_MAX, "--dist", "loadscope")


def step(name: str, module_arguments: tuple[str, ...]) -> bool:
    """Run one tool of this environment from the top of the checkout; whether it was content."""
    started_s = time.monotonic()
    print(f"check: {name} ...", flush=True)
    content = subprocess.run(
        [sys.executable, "-m", *module_arguments], cwd=TOP, env=environment(), check=False
    )
    outcome = "passed" if content.returncode == 0 else "FAILED"
    print(f"check: {name} {outcome} after {time.monotonic() - started_s:.1f} s", flush=True)
    return content.returncode == 0


def environment() -> dict[str, str]:
    """Debian keeps brokers and daemons in folders that many a shell does not search; and threads of
    linear algebra only take the cores from the other worker."""
    path = os.environ.get("PATH", os.defpath) + ":/usr/local/sbin:/usr/sbin"
    return {"OPENBLAS_NUM_THREADS": "1", **os.environ, "PATH": path}


def main(arguments: list[str]) -> int:
    """The exit code: 0 if every step passed, else 1."""
    for_pytest = tuple(argument for argument in arguments if argument != "--")
    failed = [name for name, command in BEFORE_THE_TESTS if not step(name, command)]
    print(measures.report(), flush=True)
    if not step("tests", (*PYTEST, *for_pytest)):
        failed.append("tests")
    if failed:
        print(f"check: not passed: {', '.join(failed)}", flush=True)
        return 1
    print("check: everything passed", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
