"""`seafret-edge run`, imported at once; the rest of the daemon when it is to run."""

from __future__ import annotations

import argparse
import os


def run(arguments: argparse.Namespace) -> int:
    """`seafret-edge run`: until it is told to stop, or its source has ended for good."""
    # Before numpy comes: threads of its algebra would cost memory and win nothing on small windows.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from edge.allocator import keep_freed_memory
    from edge.daemon.running import run_daemon

    keep_freed_memory()

    return run_daemon(
        arguments.settings, clock_file=arguments.clock, signal_s=arguments.signal_seconds
    )
