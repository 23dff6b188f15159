"""The fourth generator's table: `python -m tests.fourth_physics.table --judge MODULE:FUNCTION`.

Figures, limits and printing are the other generators'; only the recordings are new.
"""

from __future__ import annotations

import sys

from tests.fourth_physics.families import FAMILIES, SECONDS, recording_of
from tests.third_physics.table import run


def main(arguments: list[str] | None = None) -> int:
    """Prints the table; 0 where every limit holds, 10 where one is missed."""
    return run("python -m tests.fourth_physics.table", FAMILIES, recording_of, SECONDS, arguments)


if __name__ == "__main__":
    sys.exit(main())
