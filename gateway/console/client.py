"""The API as its clients in the terminal see it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import httpx
from pydantic import TypeAdapter, ValidationError

from gateway.console.api import Health
from gateway.console.picture import ConditionTold, InsulatorTold, Liveliness, SiteTold, UnitTold

DEFAULT_URL = "http://127.0.0.1:8710"

ANSWER_S = 10.0
"""An API that does not answer within this cannot be reached."""

Answer = TypeVar("Answer")


class GatewayUnreachable(OSError):
    """Nothing that speaks our API answers at the address."""


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
    try:
        with httpx.Client(base_url=url, timeout=ANSWER_S, trust_env=False) as client:
            sites = _get(client, "sites", {}, list[SiteTold])
            return Present(
                url,
                _get(client, "health", {}, Health),
                [one for one in sites if site in (None, one.site)],
                _get(client, "units", query, list[UnitTold]),
                _get(client, "insulators", query, list[InsulatorTold]),
                _get(client, "conditions", query, list[ConditionTold]),
            )
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
