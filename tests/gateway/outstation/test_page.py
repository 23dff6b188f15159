"""The page of the outstation: masters, points, the list, as they are over a console that serves."""

from __future__ import annotations

import csv
import io
import socket
from collections.abc import Iterator
from contextlib import closing

import httpx
import pytest

from edge.quantities import Flag
from edge.records import Stream
from gateway.accounts.roles import Role
from gateway.console.gate import FORM_KEY
from gateway.outstation.frames import Function, Unnumbered, frame_bytes
from gateway.outward_settings import Outstation
from tests.gateway.build import condition, epoch_start, interval
from tests.gateway.outworks.house import OutwardHouse
from tests.gateway.outworks.running import asked_until

BASE = "/api/1/outstation"


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OutwardHouse]:
    folder = tmp_path_factory.mktemp("house")
    house = OutwardHouse(folder, accounts=True, outstation=Outstation(port=0))
    for role in (Role.VIEWER, Role.ENGINEER):
        house.account(role.value, role)
    rows = [interval(2, "A1", peak_ua=20_000, flags=()), interval(2, "B2", flags=(Flag.SATURATED,))]
    house.commit(epoch_start(), *rows, stream=Stream.INTERVAL)
    house.commit(epoch_start(), condition(2, subject="A1"))
    house.tick(minutes=0.5)
    yield house
    house.close()


@pytest.fixture
def viewer(house: OutwardHouse) -> Iterator[httpx.Client]:
    with closing(house.client("viewer")) as client:
        yield client


def points(client: httpx.Client) -> dict[tuple[str, str], dict[str, object]]:
    told = client.get(f"{BASE}/points").json()
    return {(one["subject"], one["point"]): one for one in told}


def test_each_point_is_told_with_its_reading_its_quality_and_its_time_tag(
    viewer: httpx.Client,
) -> None:
    wanted = ("north-head/B2", "peak")
    found = asked_until(
        lambda: points(viewer), lambda told: told["north-head/B2", "over-range"]["said"] is not None
    )
    arcing, peak = found["north-head/A1", "arcing"], found["north-head/A1", "peak"]
    assert (arcing["said"], arcing["type_timed"], peak["said"], peak["unit"]) == (1, 30, 20, "mA")
    assert peak["at_us"] == interval(2).start_us + interval(2).duration_us
    never = found["north-head", "rh"]
    assert never["bits"][0] == "IV"
    text = viewer.get("/outstation/readings.csv?of=insulator").text
    rows = {(one["subject"], one["point"]): one for one in csv.DictReader(io.StringIO(text))}
    assert rows[wanted]["quality"] == "OV" and rows["north-head/A1", "peak"]["reading"] == "20.0"
    assert {one["subject_kind"] for one in rows.values()} == {"insulator"}
    some = viewer.get(f"{BASE}/points", params={"after": peak["address"]}).json()
    assert min(one["address"] for one in some) > peak["address"]
    assert found[wanted]["bits"] == ["OV"]
    page = viewer.get("/outstation?show=doubtful").text
    assert ">OV</b>" in page and "north-head/A1" not in page.split("<h2>Changes")[0]


def test_who_is_connected_and_who_was_turned_away_is_seen(
    house: OutwardHouse, viewer: httpx.Client
) -> None:
    server = house.outworks.outstation.server  # type: ignore[union-attr]
    assert "No control centre takes data now" in viewer.get("/outstation").text
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line:
        line.sendall(frame_bytes(Unnumbered(Function.START_ACT)))
        assert line.recv(6) == frame_bytes(Unnumbered(Function.START_CON))
        told = viewer.get(f"{BASE}/masters").json()
        assert [(one["address"], one["data"]) for one in told["masters"]] == [("127.0.0.1", True)]
        assert told["masters"][0]["since_us"] == house.now_us
        page = viewer.get("/outstation").text
        assert "takes it" in page and "No control centre" not in page
    found = asked_until(
        lambda: viewer.get(f"{BASE}/masters").json(), lambda one: not one["masters"]
    )
    assert found["visits"][0]["why"]


def test_nobody_reads_anything_of_a_site_that_is_not_there(viewer: httpx.Client) -> None:
    assert viewer.get("/outstation?site=nowhere").status_code == 404
    assert viewer.get("/outstation?of=nonsense").status_code == 422
    assert viewer.get("/outstation/readings.csv?site=../..").status_code == 404


def test_which_version_the_control_centre_has_is_noted_by_an_engineer_only(
    house: OutwardHouse, viewer: httpx.Client
) -> None:
    key = {FORM_KEY: house.form_key(viewer), "version": "5"}
    assert viewer.post("/outstation/handed-over", data=key).status_code == 403
    assert "no version" in viewer.get("/outstation").text
    with closing(house.client("engineer")) as client:
        key = {FORM_KEY: house.form_key(client)}
        wrong = client.post("/outstation/handed-over", data=key | {"version": "6"})
        assert wrong.status_code == 409 and "the list is at 5" in wrong.text
        for text in ("", "five", "٥", "9" * 40):
            assert (
                client.post("/outstation/handed-over", data=key | {"version": text}).status_code
                == 409
            )
        right = key | {"version": "5", "note": "by mail to the control centre"}
        assert client.post("/outstation/handed-over", data=right).status_code == 303
        page = client.get("/outstation").text
        told = client.get(f"{BASE}/changes").json()
    assert "version 5, the same" in page and "by mail to the control centre" in page
    assert [one["version"] for one in told["changes"]] == [1, 2, 3, 4, 5]
    assert told["handed_over"][-1]["by"] == "engineer"
    assert viewer.get("/outstation/changes.csv").text.count("added") == 5
