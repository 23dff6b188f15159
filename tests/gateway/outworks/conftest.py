"""A gateway in real time with everything that speaks to others."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import Broker, free_port
from tests.gateway.notices.receiving import MailServer, WebHook
from tests.gateway.outworks.running import Outward, settings_text


@pytest.fixture
def outward(tmp_path: Path, broker: Broker, hook: WebHook) -> Iterator[Outward]:
    mail_port, outstation_port = free_port(), free_port()
    mails = MailServer(mail_port)
    path = tmp_path / "gateway.toml"
    path.write_text(settings_text(broker.port, free_port(), outstation_port, hook.port, mail_port))
    yield Outward(path, broker.port, outstation_port, hook, mails)
    mails.close()
