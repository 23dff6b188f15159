"""The pages of limits without a script: who may do what, and what is told."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from gateway.accounts.roles import Role, may
from gateway.limits.api import ACTS
from gateway.limits.book import BOOK
from gateway.limits.versions import Status
from tests.gateway.limits.build import SITE, UNIT
from tests.gateway.limits.house import LimitsHouse, form

NAME = "arcing.arcing_halfcycles_per_min"
ROOT = f"/limits/{UNIT}"
WAIT_S = 60.0


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LimitsHouse]:
    """One for all tests of this file; each leaves nothing waiting."""
    made = LimitsHouse(tmp_path_factory.mktemp("limits"), accounts=True)
    made.live_through()
    for role in (Role.VIEWER, Role.OPERATOR):
        made.account(role.value, role)
    yield made
    made.close()


@pytest.fixture(scope="module")
def who(house: LimitsHouse) -> Iterator[dict[str, httpx.Client]]:
    made = {name: house.client(name) for name in ("mk", "jo", "viewer", "operator")}
    yield made
    for client in made.values():
        client.close()


def text_of(answer: httpx.Response) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2]).split())


def until(client: httpx.Client, path: str, holds: Callable[[str], bool]) -> str:
    """The page's words once they are so; it is asked again without a pause."""
    ends_s = time.monotonic() + WAIT_S
    while not holds(text := text_of(client.get(path))):
        assert time.monotonic() < ends_s, text
    return text


def propose(house: LimitsHouse, client: httpx.Client, at: str = "100") -> int:
    fields = {NAME: at, "arcing.owner": "asset desk", "reason": "fewer calls in fog"}
    answer = client.post(f"{ROOT}/propose", data=form(house, client) | fields)
    assert answer.status_code == 303, text_of(answer)
    return int(answer.headers["location"].rpartition("/")[2])


def act(house: LimitsHouse, client: httpx.Client, word: str, **fields: str) -> httpx.Response:
    return client.post(f"{ROOT}/{word}", data=form(house, client, **fields))


def test_each_role_may_do_what_the_table_says_and_nobody_without_the_forms_key(
    house: LimitsHouse, who: dict[str, httpx.Client]
) -> None:
    pages = [route for route in ACTS if route[1].startswith("/limits")]
    for method, path in pages:
        filled = path.replace("{unit}", "no-such.unit").replace("{number}", "1")
        for name, role in (
            ("viewer", Role.VIEWER),
            ("operator", Role.OPERATOR),
            ("mk", Role.ENGINEER),
        ):
            fields = form(house, who[name], version="1", reason="x")
            body = {"data": fields} if method == "POST" else {}
            answer = who[name].request(method, filled, **body)
            assert (answer.status_code == 403) is not may(role, ACTS[method, path]), (path, role)
            assert answer.status_code in (200, 403, 404), (method, path, answer.text)
        if method == "POST":
            assert who["mk"].post(filled, data={"version": "1"}).status_code == 403
    with house.client() as stranger:
        assert stranger.get("/limits").headers["location"].startswith("/sign-in")


def test_a_change_goes_from_the_form_over_a_second_person_to_the_unit_and_back(
    house: LimitsHouse, who: dict[str, httpx.Client]
) -> None:
    mk, jo = who["mk"], who["jo"]
    number = propose(house, mk)
    assert set(house.limits.of(UNIT).versions[number].alarms or {}) == {"arcing"}
    assert f"version {number} for approval" in text_of(jo.get("/limits"))
    page = f"{ROOT}/versions/{number}"
    assert "You are its author" in text_of(mk.get(page))
    refused = act(house, mk, "approve", version=str(number))
    assert refused.status_code == 409 and "second person" in text_of(refused)
    assert act(house, jo, "approve", version=str(number)).headers["location"] == ROOT
    assert "on its way since" in text_of(jo.get(ROOT))
    house.tick(minutes=11)
    for path in ("/limits", ROOT, page):
        assert "NOT ARRIVED" in text_of(jo.get(path)), path
    house.answer()
    told = text_of(jo.get(ROOT))
    assert "NOT ARRIVED" not in told and f"They are those of version {number}" in told
    drawn = jo.get(f"/sites/{SITE}/insulators/old-post").text
    assert "limit 100" in drawn and f"those of version {number}</a>" in drawn
    assert act(house, mk, "roll-back", reason="").status_code == 409
    assert act(house, mk, "roll-back", to="99", reason="x").status_code == 409
    assert act(house, mk, "roll-back", to="x", reason="x").status_code == 422
    assert act(house, mk, "roll-back", reason="missed a night").status_code == 303
    house.answer()
    assert "They are those of its settings file" in text_of(jo.get(ROOT))
    assert house.limits.of(UNIT).versions[number].status is Status.REPLACED
    again = act(house, mk, "roll-back", to=str(number), reason="it was right after all")
    assert again.status_code == 303
    house.answer()
    assert "arcing half-cycles a minute: 6 → 100" in text_of(jo.get(ROOT))
    act(house, mk, "roll-back", to="0", reason="the test is over")
    house.answer()


def test_a_draft_is_tried_on_the_last_month_beside_the_page_and_nothing_is_written(
    house: LimitsHouse, who: dict[str, httpx.Client]
) -> None:
    mk, lines = who["mk"], len(house.books.read(BOOK))
    shown = dict(
        re.findall(r'name="([a-z-]+\.\w+)" value="([^"]*)"', mk.get(f"{ROOT}/propose").text)
    )
    fields = shown | {NAME: "100", "arcing.owner": "asset desk"}
    answer = mk.post(f"{ROOT}/draft", data=form(house, mk) | fields)
    where = answer.headers["location"].partition("#")[0]
    assert where == f"{ROOT}/propose?{NAME}=100&arcing.owner=asset+desk"
    first = text_of(mk.get(where))
    assert "What would change" in first and "arcing half-cycles a minute 6 100" in first
    done = until(mk, where, lambda text: "Announced to the operator" in text)
    assert "this unit: 2 then, 1 with these limits" in done
    assert "arcing 2 1 1 0" in done and "would not come" in done
    assert len(house.books.read(BOOK)) == lines
    number = propose(house, mk)  # the same content: its month is there at once
    assert "arcing 2 1 1 0" in text_of(mk.get(f"{ROOT}/versions/{number}"))
    act(house, mk, "withdraw", version=str(number))
    assert house.limits.of(UNIT).versions[number].status is Status.WITHDRAWN


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({NAME: "1.5", "reason": "x"}, "is no amount"),
        ({NAME: "9", "arcing.owner": "", "reason": "x"}, "nobody owns"),
        ({NAME: "9", "arcing.owner": "a", "reason": " "}, "the reason is empty"),
        ({"reason": "x"}, "nothing is changed"),
        ({"arcing.priority": "7", "arcing.owner": "a", "reason": "x"}, "priority"),
    ],
    ids=["amount", "owner", "reason", "nothing", "priority"],
)
def test_what_is_wrong_with_a_form_is_told_on_it_and_what_was_typed_stays(
    house: LimitsHouse, who: dict[str, httpx.Client], fields: dict[str, str], why: str
) -> None:
    lines = len(house.books.read(BOOK))
    answer = who["mk"].post(f"{ROOT}/propose", data=form(house, who["mk"]) | fields)
    assert answer.status_code in (409, 422) and why in text_of(answer)
    if NAME in fields:
        assert f'name="{NAME}" value="{fields[NAME]}"' in answer.text
    assert len(house.books.read(BOOK)) == lines


def test_hostile_addresses_and_forms_are_refused_clearly(
    house: LimitsHouse, who: dict[str, httpx.Client]
) -> None:
    mk = who["mk"]
    long = "x" * 30_000
    for path in (
        f"{ROOT}/versions/99",
        f"/limits/{long[:900]}",
        "/limits?site=no",
    ):
        assert mk.get(path).status_code == 404, path
    assert mk.get(f"{ROOT}/versions/x").status_code == 422
    assert mk.get(f"{ROOT}/propose?{NAME}=<script>1</script>").status_code == 422
    assert "<script>1" not in mk.get(f"{ROOT}/propose?{NAME}=<script>1</script>").text
    odd = {"reason": "a\x00b", NAME: "9", "arcing.owner": "asset desk"}
    assert mk.post(f"{ROOT}/propose", data=form(house, mk) | odd).status_code == 422
    answer = mk.post(f"{ROOT}/propose", data=form(house, mk) | odd | {"reason": long})
    assert answer.status_code == 409 and "at most 400" in text_of(answer)


def test_of_a_unit_whose_settings_nobody_knows_it_is_said_and_without_rows_nothing(
    house: LimitsHouse, who: dict[str, httpx.Client]
) -> None:
    path = "/limits/north-head.m1"
    assert "Not known for sure" in text_of(who["mk"].get(path))
    assert "is not known here" in text_of(who["mk"].get(f"{path}/propose"))
    draft = f"{path}/propose?{NAME}=9&arcing.owner=asset"
    until(who["mk"], draft, lambda text: "Cannot be said" in text or "could not be tried" in text)


def test_without_accounts_two_names_are_needed_and_the_name_is_remembered(tmp_path: Path) -> None:
    house = LimitsHouse(tmp_path)
    with house.client() as client:
        nobody = client.post(
            f"{ROOT}/propose", data={NAME: "9", "arcing.owner": "a", "reason": "x"}
        )
        assert nobody.status_code == 422 and "nobody is named" in text_of(nobody)
        fields = {NAME: "9", "arcing.owner": "a", "reason": "x", "by": "Åse"}
        assert client.post(f"{ROOT}/propose", data=fields).status_code == 303
        assert 'value="Åse"' in client.get(f"{ROOT}/versions/1").text
        assert act(house, client, "approve", version="1", by="åse").status_code == 409
        assert act(house, client, "approve", version="1", by="jo").status_code == 303
    house.close()
