"""The API as its clients in the terminal see it."""

from __future__ import annotations

import os
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

import httpx
from pydantic import TypeAdapter, ValidationError

from gateway.console.alarm_api import JournalPage
from gateway.console.alarm_picture import AlarmsTold
from gateway.console.api import Health
from gateway.console.picture import ConditionTold, InsulatorTold, Liveliness, SiteTold, UnitTold

DEFAULT_URL = "http://127.0.0.1:8710"

ANSWER_S = 10.0
"""An API that does not answer within this cannot be reached."""

TOKEN_VARIABLE, CA_VARIABLE = "SEAFRET_TOKEN", "SEAFRET_CA"
"""A token that `seafret accounts token` made, and a file with the certificate of whoever signed the
gateway's; without it the machine's own authorities are believed."""

LONG_ANSWER_S = 300.0
"""For what is worked out from months of rows."""

Answer = TypeVar("Answer")


class GatewayUnreachable(OSError):
    """Nothing that speaks our API answers at the address."""


class GatewayRefused(ValueError):
    """The gateway answers, and does not allow what was asked for; the text is its own."""


@dataclass(frozen=True, slots=True)
class Present:
    """All that the API says of the present."""

    url: str
    health: Health
    sites: list[SiteTold]
    units: list[UnitTold]
    insulators: list[InsulatorTold]
    conditions: list[ConditionTold]

    @property
    def alarms_in(self) -> int:
        """Conditions that are in."""
        return sum(site.alarms_in for site in self.sites)

    @property
    def blind(self) -> bool:
        """Whether anything that should be watched is not, or cannot be said."""
        return (
            bool(self.health.store_fault)
            or not self.health.broker_connected
            or any(site.watched < site.insulators or site.alarms_unknown for site in self.sites)
            or any(unit.liveliness is not Liveliness.LIVE for unit in self.units)
        )


def fetch_present(url: str, site: str | None = None) -> Present:
    """The present of one site or of all. Raises GatewayUnreachable."""
    query = {} if site is None else {"site": site}
    with _connected(url) as client:
        sites = _get(client, "sites", {}, list[SiteTold])
        return Present(
            url,
            _get(client, "health", {}, Health),
            [one for one in sites if site in (None, one.site)],
            _get(client, "units", query, list[UnitTold]),
            _get(client, "insulators", query, list[InsulatorTold]),
            _get(client, "conditions", query, list[ConditionTold]),
        )


def fetch_alarms(url: str, site: str | None = None) -> AlarmsTold:
    """The alarm list of one site or of all. Raises GatewayUnreachable."""
    with _connected(url) as client:
        return _get(client, "alarms", {} if site is None else {"site": site}, AlarmsTold)


def fetch_journal(url: str, site: str, since: str) -> list[dict[str, Any]]:
    """The journal of a site from a moment (RFC 3339) on. Raises GatewayUnreachable."""
    found: list[dict[str, Any]] = []
    after: int | None = 0
    with _connected(url) as client:
        while after is not None:
            query = {"from": since, "after": str(after)}
            page = _get(client, f"sites/{site}/journal", query, JournalPage)
            found += page.entries
            after = page.next_after
    return found


def ask_gateway(url: str, action: str, ask: dict[str, Any]) -> AlarmsTold:
    """Acts on an alarm. Raises GatewayRefused with the gateway's reason, GatewayUnreachable."""
    with _connected(url) as client:
        answer = client.post(f"/api/1/alarms/{action}", json=ask)
        if answer.status_code in (401, 403, 409, 422):
            raise GatewayRefused(_reason(answer))
        answer.raise_for_status()
        return TypeAdapter(AlarmsTold).validate_json(answer.content)


def call_api(
    url: str, what: str, ask: dict[str, Any] | None = None, query: dict[str, str] | None = None
) -> Any:
    """Any route below /api/1/: asked, or with `ask` acted on; its JSON. The gateway may take its
    time. Raises GatewayRefused with the gateway's reason, GatewayUnreachable."""
    with _connected(url) as client:
        path = f"/api/1/{what}"
        how: dict[str, Any] = {"params": query, "timeout": LONG_ANSWER_S}
        answer = client.get(path, **how) if ask is None else client.post(path, json=ask, **how)
        if answer.status_code in (401, 403, 404, 409, 422):
            raise GatewayRefused(_reason(answer))
        answer.raise_for_status()
        return answer.json()


def _reason(answer: httpx.Response) -> str:
    detail = answer.json()["detail"]
    if isinstance(detail, str):
        return detail
    first = detail[0]
    where = ".".join(str(part) for part in first["loc"][1:])
    return f"{where}: {first['msg']}"


def has_token() -> bool:
    """Whether the caller is known by a token."""
    return bool(os.environ.get(TOKEN_VARIABLE))


def _headers() -> dict[str, str]:
    token = os.environ.get(TOKEN_VARIABLE)
    return {"authorization": f"Bearer {token}"} if token else {}


def _authorities() -> ssl.SSLContext | bool:
    path = os.environ.get(CA_VARIABLE)
    if not path:
        return True
    try:
        return ssl.create_default_context(cafile=path)
    except OSError as fault:
        raise GatewayUnreachable(
            f"{CA_VARIABLE} {path}: {fault}; it must be a readable file with a certificate"
        ) from fault


@contextmanager
def _connected(url: str) -> Iterator[httpx.Client]:
    try:
        with httpx.Client(
            base_url=url,
            timeout=ANSWER_S,
            trust_env=False,
            headers=_headers(),
            verify=_authorities(),
        ) as client:
            yield client
    except httpx.HTTPStatusError as fault:
        if fault.response.status_code in (401, 403):
            raise GatewayRefused(f"gateway {url}: {_reason(fault.response)}") from fault
        raise GatewayUnreachable(
            f"gateway {url}: it answers {fault.response.status_code}"
        ) from fault
    except (httpx.HTTPError, httpx.InvalidURL, ValidationError) as fault:
        reason = (str(fault) or type(fault).__name__).splitlines()[0]
        raise GatewayUnreachable(
            f"gateway {url} cannot be reached: {reason}; is `seafret serve` running there, "
            "and is --url the address that it printed?"
        ) from fault


def _get(client: httpx.Client, what: str, query: dict[str, str], kind: type[Answer]) -> Answer:
    answer = client.get(f"/api/1/{what}", params=query)
    answer.raise_for_status()
    return TypeAdapter(kind).validate_json(answer.content)
