"""Alarm, task and event are told apart by a table; nothing unknown is hidden."""

from __future__ import annotations

from dataclasses import astuple
from itertools import product

from edge.decide.definitions import PRIORITIES, Alarm
from gateway.alarms.journal import Entry, JournalFault, What, entry_line, read_entry
from gateway.alarms.messages import (
    CLASS_OF,
    LIMITS_NOT_IN_FORCE,
    MONITOR_SILENT,
    NOTICES_FAIL,
    RATIONALES,
    SITE_ARCING,
    SITE_SILENT,
    MessageClass,
    message_class,
    rationale,
)

OWN = {SITE_ARCING, SITE_SILENT, MONITOR_SILENT, LIMITS_NOT_IN_FORCE, NOTICES_FAIL}
KNOWN = {alarm.value for alarm in Alarm} | OWN


def test_every_alarm_has_a_class_at_every_priority_and_a_whole_rationale() -> None:
    assert set(CLASS_OF) == set(product(KNOWN, PRIORITIES))
    assert set(RATIONALES) == KNOWN
    assert all(all(astuple(one)) for one in RATIONALES.values())


def test_priority_1_is_never_less_than_an_alarm() -> None:
    assert {CLASS_OF[alarm, 1] for alarm in KNOWN} == {MessageClass.ALARM}


def test_an_alarm_of_a_later_version_is_an_alarm_and_says_that_it_is_not_known() -> None:
    assert message_class("of-a-later-version", 3) is MessageClass.ALARM
    assert "Not known" in rationale("of-a-later-version").cause


def test_an_entry_reads_back_as_it_was_written_and_a_foreign_line_is_refused() -> None:
    entry = Entry(
        number=3, at_us=5, what=What.DIGEST, who="gateway", named=("A1",), counts={"A": 1}
    )
    assert read_entry(entry_line(entry)) == entry
    for line in (b"", b"[]", b"{}", b'{"number":1}', entry_line(entry).replace(b"digest", b"x")):
        try:
            read_entry(line)
        except JournalFault as fault:
            assert "as it was written" in str(fault)
        else:
            raise AssertionError(line)
