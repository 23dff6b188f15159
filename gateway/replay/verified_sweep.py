"""A sweep made again from the grid that it keeps."""

from __future__ import annotations

import tempfile
from pathlib import Path

from gateway.replay.sweep_document import SWEEP_RESULTS, sweep_into
from gateway.replay.verification import Asked, Verification, deviations_of


def verified_sweep(asked: Asked) -> Verification:
    """inputs: the one folder that the grid's paths are relative to.

    Raises GridFault, LabelsFault, HistoryFault, OSError.
    """
    with tempfile.TemporaryDirectory(prefix="seafret-verify-") as folder:
        again = Path(folder) / "again"
        sweep_into(asked.result / "grid.toml", asked.inputs[0], again)
        deviations = tuple(deviations_of(asked.result, again, SWEEP_RESULTS))
    return Verification((), deviations, SWEEP_RESULTS)
