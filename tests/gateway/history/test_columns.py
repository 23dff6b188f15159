"""Columns give back what was put in, bit for bit, for every kind of record."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from edge.records import Record
from edge.wire import body_line, read_record
from gateway.history.columns import TABLE_OF, TABLES, Lies, exact, from_row, plain_body, to_row
from tests.gateway.history.kinds import every_kind

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
NAME = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20)
WHOLE = st.integers(0, 2**63 - 1)
RECORDS = [record for _, record in every_kind()]


class Words:
    """A word list as the store keeps one."""

    def __init__(self) -> None:
        self.known: list[str] = []

    def intern(self, word: str) -> int:
        if word not in self.known:
            self.known.append(word)
        return self.known.index(word)

    def spell(self, number: int) -> str:
        return self.known[number]


def varied(record: Record) -> st.SearchStrategy[Record]:
    """Records of the same kind with other numbers, names and gaps."""

    def of(found: object) -> st.SearchStrategy[object]:
        if found is None:
            return st.none() | WHOLE
        if isinstance(found, bool):
            return st.booleans()
        if isinstance(found, int):
            return WHOLE
        if isinstance(found, dict):
            return st.dictionaries(NAME, WHOLE, max_size=3)
        if isinstance(found, tuple) and found and isinstance(found[0], int):
            return st.tuples(*(WHOLE for _ in found))
        if isinstance(found, tuple):
            return st.lists(NAME, max_size=3).map(tuple)
        return st.just(found) if type(found) is not str else TEXT

    fields = {
        place.field: st.none() | st.tuples(*(WHOLE for _ in place.columns))
        if place.lies is Lies.SPREAD and getattr(record, place.field) is None
        else of(getattr(record, place.field))
        for place in TABLE_OF[type(record)].places
    }
    return st.fixed_dictionaries(fields).map(lambda found: type(record)(**found))


def test_there_is_a_table_for_every_kind_of_record() -> None:
    kinds = TypeAdapter(Record).json_schema()["$defs"]
    assert {table.record.__name__ for table in TABLES} == {
        name for name, schema in kinds.items() if "kind" in schema.get("properties", {})
    }


@pytest.mark.parametrize("sample", RECORDS, ids=lambda record: record.kind)
def test_any_record_comes_back_from_its_columns_with_the_same_body(sample: Record) -> None:
    @settings(max_examples=30, deadline=None)
    @given(varied(sample))
    def comes_back(record: Record) -> None:
        table, words = TABLE_OF[type(record)], Words()
        row = to_row(table, record, words.intern)
        assert len(row) == len(table.columns)
        again = from_row(table, row, words.spell)
        assert again == record
        assert plain_body(again) == body_line(record)

    comes_back()


def test_a_body_with_more_fields_or_a_default_written_out_is_not_taken_for_exact() -> None:
    record = RECORDS[0]
    body = body_line(record)
    assert exact(record, body)
    assert not exact(record, body[:-1] + b',"zenith":1}')
    plain = body_line(RECORDS[3])
    longer = plain.replace(b'"duration_us"', b'"dew_point_cdegc":null,"duration_us"')
    assert longer != plain
    assert read_record(longer) == read_record(plain)
    assert not exact(read_record(longer), longer)


@pytest.mark.parametrize("sample", RECORDS, ids=lambda record: record.kind)
def test_what_stands_at_its_default_is_not_written(sample: Record) -> None:
    body = body_line(sample)
    assert b"null" not in body
    assert read_record(body) == sample
