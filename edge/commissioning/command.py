"""`seafret-edge commission`, imported at once; the rest when it is to run."""

from __future__ import annotations

import argparse
import os


def commission(arguments: argparse.Namespace) -> int:
    """0 once every step has passed and the witness record stands; 10 while one is missing."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from edge.commissioning.conducting import Asked, conduct

    return conduct(
        Asked(
            settings=arguments.settings,
            clock=arguments.clock,
            answers=arguments.answers,
            steps=tuple(arguments.step or ()),
            wait_s=arguments.wait,
            only_list=arguments.list,
            anew=arguments.anew,
        )
    )
