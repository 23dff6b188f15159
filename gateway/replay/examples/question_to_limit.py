"""From a question to a proposed limit, as a script that may be copied into a notebook.

    python -m gateway.replay.examples.question_to_limit DATA SITE LABELS GRID OUT

DATA: the folder of the histories. LABELS: what people saw. GRID: what to try. OUT: for the results.
The question: had other limits been in force all this time, what would the control room have seen?
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from gateway.history.frames import interval_frame
from gateway.history.opening import open_history
from gateway.replay.choosing import chosen, lines
from gateway.replay.figures import score_figures
from gateway.replay.frames import events_frame
from gateway.replay.judging import Asked, judge
from gateway.replay.labels import Kind
from gateway.replay.results import read_run
from gateway.replay.rows_run import RowsRequest, decide_rows
from gateway.replay.scoring import Rules
from gateway.replay.stored_units import wanted_rows
from gateway.replay.sweep_document import point_text, sweep_into

MINUTE_US = 60_000_000


def main(data: Path, site: str, labels: Path, grid: Path, out: Path) -> list[str]:
    """The steps in order; what each one says, a line each."""
    said = []

    # 1. Look at the rows. A frame is a dict of columns: pandas.DataFrame(frame) works as it is.
    reader = open_history(data).reader(site)
    wanted = wanted_rows(reader, None, None, None)
    for name in wanted.insulators:
        frame = interval_frame(reader, name, wanted.from_us, wanted.to_us)
        arcing = int(np.sum(frame["arcing_halfcycles"] > 0))
        said.append(f"{name}: {frame['start'].size} rows, {arcing} with arcs")

    # 2. Decide on them again with the limits as shipped: the alarms that would have come.
    decide_rows(reader, RowsRequest(site, wanted), out / "as-shipped")
    reader.close()
    events = events_frame(out / "as-shipped")
    began = int(np.sum(events["condition"] == "in"))
    said.append(f"as shipped: {began} alarms")

    # 3. Judge them by what people saw.
    kinds = (Kind.ARCING, Kind.FLASHOVER)
    rules = Rules(60 * MINUTE_US, 15 * MINUTE_US, 60 * MINUTE_US, 500_000, kinds, (0, 1 << 62))
    score = judge(read_run(out / "as-shipped"), Asked(labels, rules)).score
    figures = score_figures(score)
    said.append(
        f"events told: {figures.recall.count} of {figures.recall.of}; "
        f"false alarms: {len(score.false_alarms)}"
    )

    # 4. Try other limits; the best at the same load is chosen on the tuning part alone.
    swept = sweep_into(grid, grid.parent, out / "sweep")
    best = chosen(swept)["alarms"]
    said.append(f"proposed: {point_text(best.point)}")

    # 5. And judge it on what was kept back.
    for line in lines(swept):
        if line.tried == best:
            missed = f"{line.missed.count} of {line.missed.of} missed"
            said.append(f"  {line.part}: {missed}, {line.false} false alarms")
    return said


if __name__ == "__main__":
    data, site, labels, grid, out = sys.argv[1:]
    print("\n".join(main(Path(data), site, Path(labels), Path(grid), Path(out))))
