"""Pages about accounts and refusals: what they change, and what they say."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest
from fastapi import APIRouter, Request, Response

from gateway.accounts.roles import Act, Role
from gateway.console.gate import FORM_KEY
from gateway.console.pages.look import Look
from gateway.console.rooms import Door, Room
from tests.gateway.build import condition, epoch_start
from tests.gateway.console.house import House


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    made = House(tmp_path_factory.mktemp("house"), accounts=True)
    for role in Role:
        made.account(role.value, role)
    made.commit(epoch_start(), condition(1))
    yield made
    made.close()


@pytest.fixture(scope="module")
def clients(house: House) -> Iterator[dict[Role, httpx.Client]]:
    made = {role: house.client(role.value) for role in (Role.VIEWER, Role.OPERATOR)}
    yield made
    for client in made.values():
        client.close()


def test_what_the_rules_refuse_is_told_on_a_page_with_the_way_back(
    house: House, clients: dict[Role, httpx.Client]
) -> None:
    client = clients[Role.OPERATOR]
    form = {FORM_KEY: house.form_key(client), "next": "/alarms/north-head.1", "do": "north-head.99"}
    answer = client.post("/do/acknowledge", data=form)
    assert answer.status_code == 409
    assert "Nothing was changed" in answer.text and "is not in the list" in answer.text
    assert 'href="/alarms/north-head.1"' in answer.text


def test_a_refused_act_is_in_the_audit(house: House, clients: dict[Role, httpx.Client]) -> None:
    assert house.entrance.door is not None
    client = clients[Role.VIEWER]
    client.post("/do/reset", data={FORM_KEY: house.form_key(client), "do": "north-head.1"})
    newest = house.entrance.door.register.audit(limit=1)[0]
    assert (newest.who, newest.what, newest.about) == ("viewer", "refused", "/do/reset")


def test_an_administrator_makes_and_changes_accounts_on_the_page(house: House) -> None:
    with closing(house.client("administrator")) as client:
        key = {FORM_KEY: house.form_key(client)}
        new = {"name": "nk", "role": "operator", "password": "seven terns on a wire"}
        assert client.post("/accounts/add", data=key | new).status_code == 303
        assert client.post("/accounts/add", data=key | new).status_code == 422
        role = {"name": "nk", "role": "engineer"}
        assert client.post("/accounts/role", data=key | role).status_code == 303
        assert client.post("/accounts/disable", data=key | {"name": "nk"}).status_code == 303
        page = client.get("/accounts").text
    assert "disabled" in page and "account made" in page


def test_one_changes_ones_own_password_with_the_old_one_only(house: House) -> None:
    house.account("own", Role.VIEWER)
    with closing(house.client("own")) as client:
        key = {FORM_KEY: house.form_key(client)}
        wrong = {"old": "not the old one", "password": "nine herons in a row"}
        assert client.post("/account/password", data=key | wrong).status_code == 403
        right = {"old": "four grey gulls at dusk", "password": "nine herons in a row"}
        assert client.post("/account/password", data=key | right).status_code == 303
        assert client.get("/alarms").status_code == 303  # the session has ended


def test_another_part_gets_its_link_its_page_and_its_row_in_the_table(tmp_path: Path) -> None:
    (tmp_path / "tides.html").write_text(
        '{% extends "frame.html" %}{% block title %}Tides{% endblock %}'
        "{% block live %}<h1>High at {{ high }}</h1>{% endblock %}"
    )

    def pages(look: Look) -> APIRouter:
        routes = APIRouter(include_in_schema=False)

        @routes.get("/tides")
        def tides(request: Request) -> Response:
            return look.page(request, "tides.html", lambda told: {"high": "04:12"}, topics="*")

        return routes

    room = Room(
        APIRouter(),
        {("GET", "/tides"): Act.READ},
        (Door("Tides", "/tides"),),
        str(tmp_path),
        pages,
    )
    house = House(tmp_path / "house", rooms=(room,))
    try:
        with house.client() as client:
            page = client.get("/tides").text
            part = client.get("/tides", headers={"x-seafret-part": "1"}).text
    finally:
        house.close()
    assert '<a href="/tides" aria-current="page">Tides</a>' in page
    assert "High at 04:12" in page and "High at 04:12" in part
