"""One look at the gateway's API; a gateway that is away is no fault of the demo."""

from __future__ import annotations

from typing import TypeVar

import httpx
from pydantic import TypeAdapter, ValidationError

from edge.wire import canonical
from gateway.alarms.journal import Entry, read_entry
from gateway.console.alarm_api import JournalPage
from gateway.console.api import Health
from gateway.console.picture import InsulatorTold, SiteTold, UnitTold
from gateway.demo.watching import Seen

ANSWER_S = 5.0
"""A gateway that has not answered by then is looked at again later."""

Answer = TypeVar("Answer")

_health = TypeAdapter(Health)
_sites = TypeAdapter(tuple[SiteTold, ...])
_units = TypeAdapter(tuple[UnitTold, ...])
_insulators = TypeAdapter(tuple[InsulatorTold, ...])
_journal = TypeAdapter(JournalPage)


class Looker:
    """A connection to the API that is kept between looks."""

    def __init__(self, address: str) -> None:
        self._client = httpx.Client(
            base_url=f"{address}/api/1", timeout=ANSWER_S, trust_env=False, verify=False
        )
        self._heard: dict[str, int] = {}

    def look(self) -> Seen | None:
        """None where the gateway does not answer, or not in whole."""
        try:
            sites = self._get("sites", _sites)
            return Seen(
                self._get("health", _health).now_us,
                sites,
                self._get("units", _units),
                self._get("insulators", _insulators),
                tuple((one.site, entry) for one in sites for entry in self._news(one.site)),
            )
        except (httpx.HTTPError, ValidationError):
            return None

    def _news(self, site: str) -> list[Entry]:
        """What the alarm list has written into its journal since the last look."""
        page = self._get(f"sites/{site}/journal?after={self._heard.get(site, 0)}", _journal)
        entries = [read_entry(canonical(plain)) for plain in page.entries]
        if entries:
            self._heard[site] = entries[-1].number
        return entries

    def _get(self, what: str, adapter: TypeAdapter[Answer]) -> Answer:
        answer = self._client.get(what)
        answer.raise_for_status()
        return adapter.validate_json(answer.content)

    def close(self) -> None:
        """Lets go of the connection."""
        self._client.close()
