"""Files and functions that have grown too long need a reason, written here."""

from __future__ import annotations

from tests.house.measures import (
    FILE_LINES_MAX,
    FUNCTION_LINES_MAX,
    Length,
    file_lengths,
    function_lengths,
    quantile,
    report,
)

LONG_FILES: dict[str, str] = {
    "edge/quantities.py": "the glossary: one table, spread over lines by the formatter",
    "edge/records.py": "all records in one place: fields and their units, no code",
    "tests/house/import_table.py": "one row a part: the whole table stands together",
    "tests/edge/keep/test_durable_file.py": "one behaviour, one file: its kills share a set-up",
    "tests/edge/send/simulation.py": "the whole simulated world stands together to be read",
    "tests/edge/send/test_protocol.py": "one test a rule of the protocol's page, in its order",
}

LONG_FUNCTIONS: dict[str, str] = {
    "edge/keep/combining.py:combine": "one line a field of the row, no branch",
}


def test_no_file_is_too_long_without_a_reason() -> None:
    long = [length for length in file_lengths() if length.lines > FILE_LINES_MAX]
    assert not [length for length in long if length.where not in LONG_FILES]


def test_no_function_is_too_long_without_a_reason() -> None:
    long = [length for length in function_lengths() if length.lines > FUNCTION_LINES_MAX]
    assert not [length for length in long if length.where not in LONG_FUNCTIONS]


def test_a_reason_goes_when_its_file_is_short_again() -> None:
    long = {length.where for length in file_lengths() if length.lines > FILE_LINES_MAX}
    assert not LONG_FILES.keys() - long
    long = {length.where for length in function_lengths() if length.lines > FUNCTION_LINES_MAX}
    assert not LONG_FUNCTIONS.keys() - long


def test_measures_count_this_very_function_without_its_prose() -> None:
    """Two lines of prose,
    which do not count."""
    here = "tests/house/test_sizes.py:test_measures_count_this_very_function_without_its_prose"
    assert {length.where: length.lines for length in function_lengths()}[here] == 3


def test_nine_in_ten_are_no_longer_than_the_quantile_says() -> None:
    lengths = [Length("x", lines) for lines in range(1, 12)]
    assert quantile(lengths, 0.5) == 6
    assert quantile(lengths, 0.9) == 10


def test_the_report_names_the_longest_of_each_kind() -> None:
    longest = max(file_lengths(), key=lambda length: length.lines)
    assert longest.where in report()
