"""One look at the gateway's API; a gateway that is away is no fault of the demo."""

from __future__ import annotations

from typing import TypeVar

import httpx
from pydantic import TypeAdapter, ValidationError

from gateway.console.api import Health
from gateway.console.picture import ConditionTold, InsulatorTold, SiteTold, UnitTold
from gateway.demo.watching import Seen

ANSWER_S = 5.0
"""A gateway that has not answered by then is looked at again later."""

Answer = TypeVar("Answer")

_health = TypeAdapter(Health)
_sites = TypeAdapter(tuple[SiteTold, ...])
_units = TypeAdapter(tuple[UnitTold, ...])
_insulators = TypeAdapter(tuple[InsulatorTold, ...])
_conditions = TypeAdapter(tuple[ConditionTold, ...])


class Looker:
    """A connection to the API that is kept between looks."""

    def __init__(self, address: str) -> None:
        self._client = httpx.Client(
            base_url=f"{address}/api/1", timeout=ANSWER_S, trust_env=False, verify=False
        )

    def look(self) -> Seen | None:
        """None where the gateway does not answer, or not in whole."""
        try:
            return Seen(
                self._get("health", _health).now_us,
                self._get("sites", _sites),
                self._get("units", _units),
                self._get("insulators", _insulators),
                self._get("conditions", _conditions),
            )
        except (httpx.HTTPError, ValidationError):
            return None

    def _get(self, what: str, adapter: TypeAdapter[Answer]) -> Answer:
        answer = self._client.get(what)
        answer.raise_for_status()
        return adapter.validate_json(answer.content)

    def close(self) -> None:
        """Lets go of the connection."""
        self._client.close()
