"""Who may do what: every route with every role, sessions, forms from elsewhere, hostile bytes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from gateway.accounts.people import SESSION_US
from gateway.accounts.roles import Act, Role, may
from gateway.console.acts import ACTS
from gateway.console.answering import BODY_BYTES_MAX
from gateway.console.gate import FORM_BYTES_MAX, FORM_KEY
from tests.gateway.build import condition, epoch_start
from tests.gateway.console.house import House

PATH_PARTS = {
    "{site}": "north-head",
    "{insulator}": "A1",
    "{alarm_id}": "north-head.1",
    "{content_sha}": "0" * 64,
    "{sha}": "0" * 16,
    "{name}": "nothing",
}


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    made = House(tmp_path_factory.mktemp("house"), accounts=True)
    for role in Role:
        made.account(role.value, role)
    made.commit(epoch_start(), condition(1))
    yield made
    made.close()


@pytest.fixture(scope="module")
def clients(house: House) -> Iterator[dict[Role | None, httpx.Client]]:
    made: dict[Role | None, httpx.Client] = {role: house.client(role.value) for role in Role}
    made[None] = house.client()
    yield made
    for client in made.values():
        client.close()


def filled(path: str) -> str:
    for part, stands_for in PATH_PARTS.items():
        path = path.replace(part, stands_for)
    return path


ENDING_ONES_OWN = {("POST", "/sign-out"), ("POST", "/account/password")}
STREAM = ("GET", "/stream")
ROUTES = sorted(set(ACTS) - ENDING_ONES_OWN - {STREAM})


@pytest.mark.parametrize("role", [None, *Role])
def test_every_route_answers_to_a_role_as_the_table_says(
    house: House, clients: dict[Role | None, httpx.Client], role: Role | None
) -> None:
    """An allowed call may still be wrong in itself: then it is refused for that, not for who."""
    client = clients[role]
    key = {} if role is None else {"x-seafret-form-key": house.form_key(client)}
    wrong = []
    for method, path in ROUTES:
        answer = client.request(method, filled(path), headers=key)
        is_api = path.startswith("/api/")
        let_in = may(role, ACTS[method, path])
        barred = answer.status_code in (401, 403) or (
            answer.status_code == 303 and answer.headers["location"].startswith("/sign-in?next=")
        )
        if path == "/sign-in" and method == "POST":
            continue  # refuses everybody without a right password
        if path == "/sign-in/back":
            continue
        if let_in == barred:
            wrong.append((method, path, answer.status_code))
        if not let_in and is_api:
            assert answer.json()["detail"]
        assert answer.status_code < 500, (method, path, answer.text)
    assert not wrong


def test_every_role_and_act_of_an_alarm_through_its_form(
    house: House, clients: dict[Role | None, httpx.Client]
) -> None:
    """Tried for real: after the least role's turn the journal has the person's name."""
    for role in Role:
        for word, form in (
            ("acknowledge", {"do": "north-head.1"}),
            ("answer", {"do": "north-head.1 seen-arcing"}),
            ("shelve", {"id": "north-head.1", "hours": "1", "reason": "crew"}),
            ("unshelve", {"do": "north-head.m1/arcing/A1"}),
            ("out-of-service", {"id": "north-head.1", "order": "WO 1"}),
            ("in-service", {"id": "north-head.1"}),
        ):
            client = clients[role]
            key = {FORM_KEY: house.form_key(client), "next": "/alarms"}
            answer = client.post(f"/do/{word}", data=form | key)
            allowed = may(role, ACTS["POST", f"/do/{word}"])
            assert answer.status_code == (303 if allowed else 403), (role, word, answer.text)
    people = {
        one.who for one in house.desk.journal("north-head") if one.who in {r.value for r in Role}
    }
    assert people == {"operator", "engineer", "administrator"}
    doers = {(one.what.value, one.who) for one in house.desk.journal("north-head")}
    assert ("taken-out", "engineer") in doers
    assert ("taken-out", "operator") not in doers


def test_nobody_acts_under_another_name(
    house: House, clients: dict[Role | None, httpx.Client]
) -> None:
    client = clients[Role.OPERATOR]
    key = {"x-seafret-form-key": house.form_key(client)}
    ask = {"ids": ["north-head.1"], "by": "engineer"}
    answer = client.post("/api/1/alarms/acknowledge", json=ask, headers=key)
    assert answer.status_code == 403
    assert "nobody acts under another name" in answer.json()["detail"]


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
    ],
)
def test_a_form_from_elsewhere_is_refused_even_with_the_session_and_the_key(
    house: House, clients: dict[Role | None, httpx.Client], headers: dict[str, str]
) -> None:
    client = clients[Role.OPERATOR]
    form = {FORM_KEY: house.form_key(client), "do": "north-head.1"}
    assert client.post("/do/acknowledge", data=form, headers=headers).status_code == 403


@pytest.mark.parametrize("given", [{}, {FORM_KEY: ""}, {FORM_KEY: "x" * 43}])
def test_a_form_without_the_sessions_own_key_is_refused(
    clients: dict[Role | None, httpx.Client], given: dict[str, str]
) -> None:
    client = clients[Role.OPERATOR]
    answer = client.post("/do/acknowledge", data={"do": "north-head.1", **given})
    assert answer.status_code == 403
    assert "another session" in answer.text


def test_the_key_of_one_session_does_not_open_another_one(
    house: House, clients: dict[Role | None, httpx.Client]
) -> None:
    other = house.form_key(clients[Role.ENGINEER])
    answer = clients[Role.OPERATOR].post("/do/reset", data={FORM_KEY: other, "do": "north-head.1"})
    assert answer.status_code == 403


@pytest.mark.parametrize("cookie", ["", "x", "../..", "a" * 5000, "%00%ff", '"', "0" * 43, "né"])
def test_a_hostile_cookie_is_nobody(house: House, cookie: str) -> None:
    with house.client() as client:
        headers = {"cookie": f"seafret={cookie}".encode()}
        assert client.get("/api/1/sites", headers=headers).status_code == 401
        assert client.get("/", headers=headers).status_code == 303


@pytest.mark.parametrize("token", ["?", "x", "a" * 10_000, "\xff\xfe"])
def test_a_hostile_token_is_nobody(house: House, token: str) -> None:
    with house.client() as client:
        headers = {"authorization": f"Bearer {token}".encode("latin-1")}
        assert client.get("/api/1/sites", headers=headers).status_code == 401


def test_a_token_acts_as_its_account_without_a_form_key(house: House) -> None:
    assert house.entrance.door is not None
    token = house.entrance.door.make_token("viewer", "cron", 5, "viewer")
    with house.client(headers={"authorization": f"Bearer {token}"}) as client:
        assert client.get("/api/1/sites").status_code == 200
        answer = client.post("/api/1/alarms/acknowledge", json={"ids": ["north-head.1"]})
        assert answer.status_code == 403
        assert "viewer" in answer.json()["detail"]


def test_a_session_that_has_ended_is_sent_to_sign_in_and_back(house: House) -> None:
    with closing(house.client("operator")) as client:
        house.accounts_us += SESSION_US[Role.OPERATOR] + 1
        answer = client.get("/alarms?tab=shelved")
        house.accounts_us -= SESSION_US[Role.OPERATOR] + 1
        assert answer.status_code == 303
        assert answer.headers["location"] == "/sign-in?next=/alarms%3Ftab%3Dshelved"


@pytest.mark.parametrize(
    "where",
    ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere", "/a\r\nSet-Cookie"],
)
def test_after_signing_in_one_goes_on_within_this_console_only(house: House, where: str) -> None:
    with house.client() as client:
        form = {"name": "viewer", "password": "four grey gulls at dusk", "next": where}
        answer = client.post("/sign-in", data=form)
        assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_the_session_cookie_is_out_of_reach_of_scripts_and_other_sites(house: House) -> None:
    with house.client() as client:
        form = {"name": "viewer", "password": "four grey gulls at dusk"}
        cookie = client.post("/sign-in", data=form).headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=lax" in cookie and "Path=/" in cookie


def test_every_answer_forbids_scripts_frames_and_anything_from_elsewhere(
    clients: dict[Role | None, httpx.Client],
) -> None:
    for path in ("/", "/sign-in", "/api/1/sites", "/nowhere", "/static/0/x"):
        for client in (clients[Role.VIEWER], clients[None]):
            headers = client.get(path).headers
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
            assert "unsafe" not in policy and "http" not in policy
            assert headers["x-content-type-options"] == "nosniff"


def test_pages_hold_nothing_that_the_policy_would_refuse(
    clients: dict[Role | None, httpx.Client],
) -> None:
    for path in (
        "/",
        "/alarms",
        "/alarms/north-head.1",
        "/sites/north-head",
        "/accounts",
        "/about",
    ):
        text = clients[Role.ADMINISTRATOR].get(path).text
        assert "<script>" not in text and "style=" not in text
        assert " onclick" not in text and "javascript:" not in text
        assert "http://" not in text.replace('xmlns="http://www.w3.org/2000/svg"', "")


def test_a_body_that_is_too_long_is_refused_before_it_is_read(
    house: House, clients: dict[Role | None, httpx.Client]
) -> None:
    client = clients[Role.OPERATOR]
    key = {"x-seafret-form-key": house.form_key(client)}
    long = b"x" * (BODY_BYTES_MAX + 1)
    answer = client.post("/api/1/alarms/acknowledge", content=long, headers=key)
    assert answer.status_code == 413
    form = {"note": "x" * (FORM_BYTES_MAX + 1)}
    assert client.post("/do/acknowledge", data=form, headers=key).status_code == 413


@pytest.mark.parametrize(
    "body", [b"\xff\xfe\xfd", b"a=%ff%fe", b"&" * 400, b"a=1&" * 400, b"do=north-head.1;rm"]
)
def test_a_form_that_is_no_form_is_refused_and_changes_nothing(
    house: House, clients: dict[Role | None, httpx.Client], body: bytes
) -> None:
    client = clients[Role.OPERATOR]
    before = house.desk.lists()
    headers = {
        "x-seafret-form-key": house.form_key(client),
        "content-type": "application/x-www-form-urlencoded",
    }
    answer = client.post("/do/acknowledge", content=body, headers=headers)
    assert answer.status_code in (409, 422)
    assert house.desk.lists() == before


def test_a_route_without_a_row_stops_the_start(tmp_path: Path) -> None:
    from fastapi import APIRouter

    from gateway.console.app import check_acts
    from gateway.console.gate import Gate

    routes = APIRouter()
    routes.get("/forgotten")(lambda: None)
    with pytest.raises(AssertionError, match="/forgotten"):
        check_acts(routes, Gate(None, {("GET", "/"): Act.READ}, False))
