"""The terminal's command, a unit and a web hook beside a running gateway."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from gateway.__main__ import main
from tests.broker import Broker
from tests.gateway.console.running import Said, Seafret, UnitAtTheBroker
from tests.gateway.notices.receiving import WebHook


@pytest.fixture
def seafret(capsys: pytest.CaptureFixture[str]) -> Seafret:
    def run(*words: str) -> Said:
        capsys.readouterr()
        code = main(list(words))
        return Said(code, *capsys.readouterr())

    return run


@pytest.fixture
def hook() -> Iterator[WebHook]:
    hook = WebHook()
    yield hook
    hook.close()


@pytest.fixture
def unit(broker: Broker) -> Iterator[UnitAtTheBroker]:
    unit = UnitAtTheBroker(broker.port)
    yield unit
    unit.close()
