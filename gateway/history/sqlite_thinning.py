"""Old minute rows of a site's SQLite file made ten-minute and hourly ones; see `SiteThinner`.

Week by week and insulator by insulator, each in one transaction: rows that units sent leave the
table of minutes (their lines leave, too; marks stay, so nothing comes back) and stand packed beside
loaded rows, under the source `KEPT`. Running it again does only what is left.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from edge.quantities import STATES
from edge.records import IntervalRow, Span
from gateway.history.chunks import ABSENT, WEEK_US, Ints, filled
from gateway.history.columns import TABLE_OF, Column
from gateway.history.loaded import KEPT_SOURCE, NOTE_TABLES, Columns
from gateway.history.retention import Thinned
from gateway.history.sqlite_loaded import SqliteLoader
from gateway.history.store import HistoryFault
from gateway.history.thinning import HOUR_US, KEPT, TICK_US, thinned

_WHOLE = tuple(name for name in TABLE_OF[IntervalRow].columns if name not in ("insulator", "span"))
_LIVE = tuple(name for name in TABLE_OF[IntervalRow].columns if name in KEPT)
Key = tuple[str, str, int]
"""Insulator, source, week."""


class SqliteThinner(SqliteLoader):
    """The one writer of a site that also thins; it keeps the writer's lock week by week, so that
    commits go on between."""

    _known_copies: set[tuple[int, int]] | None = None

    def newest_us(self) -> int | None:
        """Start of the newest row that a unit sent, or end of the newest week of columns."""
        with self._told():
            live = self._connection.execute(
                "SELECT max(newest) FROM (SELECT (SELECT max(start_us) FROM interval "
                "WHERE insulator = i.insulator) AS newest FROM insulators i) n"
            ).fetchone()[0]
            week = self._connection.execute(
                "SELECT max(week) FROM loaded WHERE kind = ?", (self.number(Columns.INTERVAL),)
            ).fetchone()[0]
        found = [live, None if week is None else (week + 1) * WEEK_US]
        return max((one for one in found if one is not None), default=None)

    def thin(self, before_us: int, stop: Callable[[], bool] = lambda: False) -> Thinned:
        """Makes rows of whole weeks that end at or before `before_us` ten-minute and hourly ones.

        stop: asked between weeks. Raises HistoryFault where the database cannot write.
        """
        last_week = before_us // WEEK_US
        total = Thinned(0, 0, 0)
        for key in self._due(last_week):
            if stop():
                break
            with self.together():
                total = total.plus(self._thin_week(*key))
        return total

    def pack(self, before_us: int, stop: Callable[[], bool] = lambda: False) -> int:
        """Makes copies of whole weeks that end at or before `before_us`; how many weeks.

        The rows stay where they are; a row that comes late into a week takes its copy away.
        """
        rows = self._connection.execute(
            "SELECT DISTINCT w.word, i.insulator, i.start_us / ? FROM interval i "
            "JOIN words w ON w.id = i.insulator WHERE i.start_us < ?",
            (WEEK_US, before_us // WEEK_US * WEEK_US),
        ).fetchall()
        packed = 0
        for name, insulator, week in rows:
            if stop():
                break
            if (insulator, week) in self._copies():
                continue
            with self.together():
                self._pack_week(name, insulator, week)
            packed += 1
        return packed

    def _pack_week(self, name: str, insulator: int, week: int) -> None:
        columns = self._live_rows(name, week, _WHOLE)
        key = (self.number(Columns.PACKED), insulator, self.number(KEPT_SOURCE), week)
        self._put_week(key, columns)
        if columns:
            self._copies().add((insulator, week))

    def _copies(self) -> set[tuple[int, int]]:
        """(insulator, week) of every copy, known from the file after a start or a fault."""
        if self._known_copies is None:
            found = self._connection.execute(
                "SELECT DISTINCT insulator, week FROM loaded WHERE kind = ?",
                (self.number(Columns.PACKED),),
            )
            self._known_copies = {(insulator, week) for insulator, week in found}
        return self._known_copies

    def _place(self, row: IntervalRow) -> tuple[int, int, int]:
        found = super()._place(row)
        key = (found[0], row.start_us // WEEK_US)
        if key in self._copies():
            self._drop_copy(*key)
        return found

    def _drop_copy(self, insulator: int, week: int) -> None:
        self._connection.execute(
            "DELETE FROM loaded WHERE kind = ? AND insulator = ? AND week = ?",
            (self.number(Columns.PACKED), insulator, week),
        )
        self._copies().discard((insulator, week))

    def _roll_back(self) -> None:
        self._known_copies = None
        super()._roll_back()

    def _due(self, last_week: int) -> list[Key]:
        """Weeks with live rows, and loaded weeks that were never thinned."""
        live = self._connection.execute(
            "SELECT DISTINCT w.word, i.start_us / ? FROM interval i JOIN words w "
            "ON w.id = i.insulator WHERE i.start_us < ?",
            (WEEK_US, last_week * WEEK_US),
        ).fetchall()
        loaded = self._connection.execute(
            "SELECT DISTINCT i.word, s.word, l.week FROM loaded l JOIN words i "
            "ON i.id = l.insulator JOIN words s ON s.id = l.source WHERE l.kind = ? AND l.week < ? "
            "AND NOT EXISTS (SELECT 1 FROM thinned t WHERE t.insulator = l.insulator "
            "AND t.source = l.source AND t.week = l.week)",
            (self.number(Columns.INTERVAL), last_week),
        ).fetchall()
        return sorted({*((name, KEPT_SOURCE, week) for name, week in live), *loaded})

    def _thin_week(self, insulator: str, source: str, week: int) -> Thinned:
        key = (
            self.number(Columns.INTERVAL), self.number(insulator), self.number(source), week,
        )  # fmt: skip
        parts = [
            rows for rows in (self._week(key), self._live_week(insulator, source, week)) if rows
        ]
        if not parts:  # ten-second rows alone
            self._forget(insulator, week)
            return Thinned(1, 0, 0)
        names = sorted({name for rows in parts for name in rows})
        counts = [rows["start_us"].shape[0] for rows in parts]
        both = [filled(rows, names, n) for rows, n in zip(parts, counts, strict=True)]
        rows = {name: np.concatenate([one[name] for one in both]) for name in names}
        tens = thinned(rows, TICK_US)
        self._put_week(key, tens)
        self._put_week((self.number(Columns.HOURLY), *key[1:]), thinned(tens, HOUR_US))
        if source == KEPT_SOURCE:
            self._forget(insulator, week)
        self._connection.execute(
            "INSERT INTO thinned VALUES (?, ?, ?) ON CONFLICT DO NOTHING", key[1:]
        )
        return Thinned(1, sum(counts), int(tens["start_us"].shape[0]))

    def _live_week(self, insulator: str, source: str, week: int) -> dict[str, Ints]:
        """Rows that units sent, words as loaded rows have them."""
        rows = self._live_rows(insulator, week, _LIVE) if source == KEPT_SOURCE else {}
        if rows:
            rows["state"] = self._state_codes(rows["state"])
            rows["flags"] = self._no_flags_absent(rows["flags"])
        return rows

    def _live_rows(self, insulator: str, week: int, names: tuple[str, ...]) -> dict[str, Ints]:
        """Columns of the rows that sum, in order of time; nothing where there are none."""
        cells = ", ".join(f"coalesce({name}, {ABSENT + 1} - 1)" for name in names)
        spans = ", ".join(str(self.number(span)) for span in (Span.MINUTE, Span.MERGED))
        found = self._connection.execute(
            f"SELECT {cells} FROM interval WHERE insulator = ? AND start_us >= ? AND start_us < ? "
            f"AND span IN ({spans}) ORDER BY start_us",
            (self.number(insulator), week * WEEK_US, (week + 1) * WEEK_US),
        ).fetchall()
        if not found:
            return {}
        across = np.array(found, np.int64).T
        return {name: np.array(one) for name, one in zip(names, across, strict=True)}

    def _state_codes(self, numbers: Ints) -> Ints:
        codes = {self.number(state.value): k for k, state in enumerate(STATES)}
        return np.array([codes.get(one, ABSENT) for one in numbers.tolist()], np.int64)

    def _no_flags_absent(self, numbers: Ints) -> Ints:
        """Live rows have a word for no flags at all, loaded ones nothing."""
        return np.where(numbers == self.number(json.dumps([])), ABSENT, numbers)

    def _forget(self, insulator: str, week: int) -> None:
        """Live rows of the week and their lines; ten-second rows, too: nothing sums them."""
        where = "insulator = ? AND start_us >= ? AND start_us < ?"
        given = (self.number(insulator), week * WEEK_US, (week + 1) * WEEK_US)
        self._connection.execute(
            "DELETE FROM lines WHERE (stream_id, seq) IN "
            f"(SELECT stream_id, seq FROM interval WHERE {where})",
            given,
        )
        self._connection.execute(f"DELETE FROM interval WHERE {where}", given)
        self._drop_copy(given[0], week)

    def sizes(self) -> Iterator[tuple[str, str, int, int]]:
        """(insulator, kind, weeks, bytes) of what lies packed."""
        yield from self._connection.execute(
            "SELECT i.word, k.word, count(DISTINCT l.week), sum(length(l.cells)) FROM loaded l "
            "JOIN words i ON i.id = l.insulator JOIN words k ON k.id = l.kind GROUP BY 1, 2"
        )

    def begin_move(self) -> dict[str, str]:
        """Makes ready to take a moved site; the last key taken of each table, where one was begun.

        Raises HistoryFault where something of the site is there that no move brought.
        """
        with self.together():
            self._connection.execute(
                "CREATE TABLE IF NOT EXISTS moving (name TEXT PRIMARY KEY, last TEXT NOT NULL)"
            )
            done = dict(self._connection.execute("SELECT name, last FROM moving").fetchall())
            if not done:
                for table in ("marks", "loaded", "alarm_journal", *(t.name for t in NOTE_TABLES)):
                    if self._connection.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone():
                        raise HistoryFault(
                            f"history {self._path}: it has rows in {table} already; a site is "
                            "moved to where there is nothing of it"
                        )
                self._connection.execute("DELETE FROM words")
                self._connection.execute("INSERT INTO moving VALUES ('begun', '')")
        return done

    def take_moved(
        self, table: str, columns: Sequence[str], rows: Sequence[Sequence[Column]], last: str
    ) -> None:
        """Rows of a table as they lay, and the key of the last of them."""
        with self.together():
            self._add(table, columns, rows)
            self._connection.execute(
                "INSERT INTO moving VALUES (?, ?) "
                "ON CONFLICT (name) DO UPDATE SET last = excluded.last",
                (table, last),
            )

    def end_move(self) -> None:
        """The site is here now; nothing more is taken."""
        with self.together():
            self._connection.execute("DROP TABLE moving")
