"""One-touch answers become labels that the scoring reads."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.records import Condition
from gateway.alarms.actions import Answer
from gateway.console.answers import KIND_OF
from gateway.replay.labels import Kind, read_labels
from tests.gateway.build import MINUTE_US, START_US, condition, epoch_start
from tests.gateway.console.house import House


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path)
    made.commit(epoch_start(), condition(1))
    yield made
    made.close()


def answer(house: House, label: str, by: str = "mk") -> None:
    with house.client() as client:
        form = {"do": f"north-head.1 {label}", "by": by, "note": "by telephone"}
        assert client.post("/do/answer", data=form).status_code == 303


def test_a_name_in_any_script_is_there_again_on_the_next_form(house: House) -> None:
    name = "Zoë Łukasz 電"
    with house.client() as client:
        form = {"do": "north-head.1 seen-arcing", "by": name, "note": ""}
        assert client.post("/do/answer", data=form).status_code == 303
        assert f'value="{name}"' in client.get("/alarms/north-head.1").text


def labels_csv(house: House) -> str:
    with house.client() as client:
        found = client.get("/labels.csv?site=north-head")
    assert found.headers["content-type"] == "text/csv; charset=utf-8"
    return found.text


def test_an_answer_labels_the_time_that_the_alarm_stood(house: House) -> None:
    answer(house, "seen-arcing")
    house.commit(condition(9, Condition.OUT))
    found = read_labels(labels_csv(house), "labels.csv", ["A1", "B2"])
    (label,) = found.labels
    assert (label.start_us, label.end_us) == (START_US + MINUTE_US, START_US + 9 * MINUTE_US)
    assert (label.subject, label.kind, label.who) == ("A1", Kind.ARCING, "mk")
    assert not found.warnings


def test_a_second_answer_of_one_person_replaces_the_first_and_another_ones_stands(
    house: House,
) -> None:
    answer(house, "seen-arcing")
    answer(house, "nothing-seen")
    answer(house, "washing", by="kr")
    with house.client() as client:
        told = client.get("/api/1/sites/north-head/labels").json()
    assert {(one["who"], one["kind"]) for one in told} == {("mk", "noise"), ("kr", "wash")}


def test_every_answer_has_a_kind_of_label() -> None:
    assert set(KIND_OF) == set(Answer)


def test_an_answer_changes_neither_the_alarm_nor_the_data(house: House) -> None:
    reader = house.history.reader("north-head")
    before = reader.marks()
    reader.close()
    answer(house, "outage")
    with house.client() as client:
        (told,) = client.get("/api/1/alarms").json()["alarms"]
    assert (told["shown"], told["answer"]) == ("new", "outage")
    reader = house.history.reader("north-head")
    assert reader.marks() == before
    reader.close()
