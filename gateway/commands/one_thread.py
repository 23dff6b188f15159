"""Linear algebra on one thread.

The trends solve thousands of systems of some twenty unknowns; more threads wait for one another
longer than they compute (twice the processor time was measured). Must come before numpy is first
imported; where somebody has chosen a number, that stays.
"""

from __future__ import annotations

import os

NAMES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def one_thread() -> None:
    """Asks the library of linear algebra for one thread."""
    for name in NAMES:
        os.environ.setdefault(name, "1")
