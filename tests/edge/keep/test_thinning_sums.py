"""Rows of any kind in any order, thinned in any order: every sum stays what it was."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge.keep import thinning
from edge.keep.ledger import Stamp
from edge.keep.room import QUOTA_BYTES_MIN
from edge.keep.thinning import HOUR_US, KINDS, TEN_MINUTES_US
from edge.records import IntervalRow, Span, Stream
from tests.edge.keep.builders import START_US, covered, open_file, read, read_all
from tests.edge.keep.test_merging import totals
from tests.edge.keep.test_thinning import transaction, wet_row


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_however_rows_come_and_whatever_was_sent_no_sum_changes(data: st.DataObject) -> None:
    there = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=there if there.is_dir() else None) as name:
        file = open_file(Path(name) / "durable.db", quota_bytes=QUOTA_BYTES_MIN)
        made: list[IntervalRow] = []
        minute = 0
        for boot in range(data.draw(st.integers(1, 3))):
            rows: list[IntervalRow] = []
            for _ in range(data.draw(st.integers(1, 60))):
                minute += data.draw(st.sampled_from([0, 0, 1, 1, 1, 2, 9, 61]))
                rows.append(wet_row(minute, **data.draw(CHANGES)))
            file.commit(rows, {}, Stamp(f"boot-{boot}", "gnss", 1 + minute, START_US + minute))
            made += rows
            if data.draw(st.booleans()):
                read(file, file.epoch, Stream.INTERVAL, 0, records_max=data.draw(COUNTS))
        with transaction(file) as db:
            for while_us in data.draw(WHILES):
                for kind in KINDS:
                    thinning.thin(db, kind, while_us)
        found = read_all(file, file.epoch, Stream.INTERVAL)
        assert covered(found) == list(range(1, len(made) + 2))
        kept = [one for _, one in found if isinstance(one, IntervalRow)]
        assert totals(summing(kept)) == totals(summing(made))
        assert energies(kept) == energies(made)
        file.close()


COUNTS = st.integers(1, 40)
WHILES = st.lists(st.sampled_from([TEN_MINUTES_US, HOUR_US]), min_size=1, max_size=6)
CHANGES: st.SearchStrategy[dict[str, Any]] = st.fixed_dictionaries(
    {
        "insulator": st.sampled_from(["P7-A", "P7-B", "P7-C"]),
        "span": st.sampled_from([Span.MINUTE] * 4 + [Span.TEN_SECONDS]),
        "calibration": st.sampled_from(["dry-1"] * 5 + ["dry-2"]),
        "energy_uj": st.sampled_from([None, (4, -9)]),
        "charge_nc": st.tuples(st.integers(0, 10**9), st.integers(0, 10**9)),
    }
)


def summing(rows: Sequence[IntervalRow]) -> list[IntervalRow]:
    return [row for row in rows if row.span is not Span.TEN_SECONDS]


def energies(rows: Sequence[IntervalRow]) -> tuple[int, int]:
    """What is said of energy, by polarity: not a microjoule may become unsaid."""
    said = [row.energy_uj for row in summing(rows) if row.energy_uj is not None]
    return sum(one for one, _ in said), sum(other for _, other in said)
