"""Books of a gateway: all lines or none, and after a fault on as if it had not been."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.books import BookFault, Books


@pytest.mark.parametrize("when", ["IMMEDIATE", "DEFERRED"])
def test_after_a_line_that_could_not_be_written_or_committed_the_next_one_can(
    tmp_path: Path, when: str
) -> None:
    books = Books(tmp_path)
    books.append("limits", 1, [b"{}"])
    for statement in (
        "PRAGMA foreign_keys = ON",
        "CREATE TABLE room (place INTEGER PRIMARY KEY)",
        f"CREATE TABLE taken (place INTEGER REFERENCES room DEFERRABLE INITIALLY {when})",
        "CREATE TRIGGER none_left AFTER INSERT ON book BEGIN INSERT INTO taken VALUES (1); END",
    ):
        books._db.execute(statement)
    with pytest.raises(BookFault, match="nothing was written"):
        books.append("limits", 2, [b"[]"])
    books._db.execute("DROP TRIGGER none_left")
    books.append("limits", 3, [b"[1]"])
    assert [one.body for one in books.read("limits")] == [b"{}", b"[1]"]
    books.close()
