"""Old rows of a site in PostgreSQL made ten-minute and hourly ones, four weeks at a time.

When every week of a table of four weeks is thinned, the table is dropped in the same transaction:
nothing is deleted row by row, and the disk has its room back at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gateway.history.chunks import WEEK_US, Ints, filled
from gateway.history.loaded import KEPT_SOURCE, Columns
from gateway.history.postgres_schema import (
    FIRST_PART,
    LAST_PART,
    NUMBERED,
    PART_US,
    WEEKS_A_PART,
    drop_part,
    part_of,
)
from gateway.history.postgres_write import PostgresWriter
from gateway.history.retention import Thinned
from gateway.history.sqlite_write import Row


class PostgresThinner(PostgresWriter):
    """A site's writer that also thins."""

    def thin(self, before_us: int, stop: Callable[[], bool] = lambda: False) -> Thinned:
        """Makes rows of whole four weeks that end at or before `before_us` ten-minute and hourly
        ones. stop: asked between them. Raises HistoryFault where the database cannot write."""
        last_part = before_us // PART_US
        with self._told():
            due = {week // WEEKS_A_PART for _, _, week in self._due(last_part * WEEKS_A_PART)}
        total = Thinned(0, 0, 0)
        for part in sorted(due):
            if stop():
                break
            with self.together():
                total = total.plus(self._thin_part(part))
        return total

    def _thin_part(self, part: int) -> Thinned:
        total = Thinned(0, 0, 0)
        for key in self._due((part + 1) * WEEKS_A_PART):
            if key[2] // WEEKS_A_PART == part:
                total = total.plus(self._thin_week(*key))
        if _has_its_own(part):
            drop_part(self._connection, part)
            self._parts.discard(part)
        return total

    def pack(self, before_us: int, stop: Callable[[], bool] = lambda: False) -> int:
        """Makes copies of whole weeks; other programs may have taken some away meanwhile."""
        self._known_copies = None
        with self._told():
            return super().pack(before_us, stop)

    def _live_rows(self, insulator: str, week: int, names: tuple[str, ...]) -> dict[str, Ints]:
        """From the packed copy, where there is one."""
        key = (self.number(Columns.PACKED), self.number(insulator), self.number(KEPT_SOURCE), week)
        copy = self._week(key)
        if not copy:
            return super()._live_rows(insulator, week, names)
        rows = copy["start_us"].shape[0]
        return {name: filled(copy, names, rows)[name] for name in names}

    def _forget(self, insulator: str, week: int) -> None:
        """The copy; the rows go with their table."""
        if _has_its_own(week // WEEKS_A_PART):
            self._drop_copy(self.number(insulator), week)
        else:
            super()._forget(insulator, week)

    def take_moved(
        self, table: str, columns: Sequence[str], rows: Sequence[Row], last: str
    ) -> None:
        """Rows of a table as they lay, and the key of the last of them."""
        if table in ("interval", "lines"):
            at = columns.index("start_us")
            starts = (cell for row in rows if isinstance(cell := row[at], int))
            with self._one_at_a_time:
                self._make_parts({part_of(start_us) for start_us in starts})
        super().take_moved(table, columns, rows, last)

    def end_move(self) -> None:
        """The site is here now; new numbers follow on those that came."""
        with self.together():
            for table, column in NUMBERED:
                self._connection.execute(
                    f"SELECT setval(pg_get_serial_sequence('{table}', '{column}'), "
                    f"1 + coalesce(max({column}), 0), false) FROM {table}"
                )
        super().end_move()


def _has_its_own(part: int) -> bool:
    return FIRST_PART <= part <= LAST_PART


assert PART_US == WEEKS_A_PART * WEEK_US
