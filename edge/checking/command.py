"""`seafret-edge check`: a line for each thing that must hold, and what to do if not."""

from __future__ import annotations

import argparse
import os

from edge.faults import Exit


def check(arguments: argparse.Namespace) -> int:
    """0 only if everything holds; else the code of the first fault's kind."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from edge.checking.inspection import inspection

    code = Exit.FINE
    for finding in inspection(arguments.settings, arguments.clock):
        print(finding.line(), flush=True)
        code = code or finding.code
    return code
