"""The page of notices and its form, over a console that serves and a web hook that takes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from gateway.accounts.roles import Role
from gateway.console.gate import FORM_KEY
from tests.gateway.notices.receiving import WebHook
from tests.gateway.outworks.house import OutwardHouse, recipients


@pytest.fixture
def house(tmp_path: Path, hook: WebHook) -> Iterator[OutwardHouse]:
    house = OutwardHouse(tmp_path, accounts=True, notices=recipients(hook.port))
    for role in Role:
        house.account(role.value, role)
    yield house
    house.close()


def test_everybody_reads_the_page_and_nobody_reads_an_address(
    house: OutwardHouse, hook: WebHook
) -> None:
    assert hook.next()["message"].startswith("TEST 1")
    with closing(house.client("viewer")) as client:
        page, api = client.get("/notices").text, client.get("/api/1/notices").text
    for text in (page, api):
        assert "hidden-word" not in text and str(hook.port) not in text
    assert '"scheme":"json"' in api and "json://" in page
    assert "web hook" in page and "second person" in page.lower() and "09:00" in page
    assert 'action="/notices/trial"' not in page


def test_who_may_not_send_a_trial_is_refused_and_nothing_is_sent(house: OutwardHouse) -> None:
    for role in (Role.VIEWER, Role.OPERATOR):
        with closing(house.client(role.value)) as client:
            key = house.form_key(client)
            assert client.post("/notices/trial", data={FORM_KEY: key}).status_code == 403
            headers = {"x-seafret-form-key": key}
            told = client.post("/api/1/notices/trial", json={}, headers=headers)
            assert told.status_code == 403
            assert client.get("/api/1/notices").json()["asked"] == []


def test_an_engineer_sends_a_trial_and_sees_who_asked_and_what_came_of_it(
    house: OutwardHouse, hook: WebHook
) -> None:
    for _ in range(2):
        hook.next()
    with closing(house.client("engineer")) as client:
        key = {FORM_KEY: house.form_key(client)}
        answer = client.post("/notices/trial", data=key | {"to": "duty phone"})
        assert (answer.status_code, answer.headers["location"]) == (303, "/notices")
        assert "asked for by engineer" in hook.next()["message"]
        again = client.post("/notices/trial", data=key)
        assert again.status_code == 409 and "less than a minute ago" in again.text
        wrong = client.post("/notices/trial", data=key | {"to": "<b>nobody</b>"})
        assert wrong.status_code == 409 and "<b>nobody" not in wrong.text
        page = client.get("/notices").text
    assert "by <b>engineer</b> from 127.0.0.1, to duty phone" in page
    assert "asked for by engineer" in page
