"""What tests/conftest.py promises to the other tests."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from tests.broker import Broker
from tests.house.measures import TOP

ANSWER_S_MAX = 10.0

SHORT_AND_LONG = """
import pytest
def test_short_form(): pass
@pytest.mark.long
def test_long_form(): pass
"""


@pytest.mark.parametrize(
    ("options", "closing"), [((), "1 passed, 1 deselected"), (("--long",), "2 passed")]
)
def test_long_forms_are_deselected_and_never_skipped(
    tmp_path: Path, options: tuple[str, ...], closing: str
) -> None:
    (tmp_path / "test_forms.py").write_text(SHORT_AND_LONG, encoding="utf-8")
    settings = ["-c", str(TOP / "pyproject.toml"), "-p", "tests.conftest", "-p", "no:cacheprovider"]
    command = [sys.executable, "-m", "pytest", "-q", *settings, *options, str(tmp_path)]
    ran = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert closing in ran.stdout and "skipped" not in ran.stdout


def test_a_free_port_can_be_bound(free_port: int) -> None:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", free_port))


def test_the_broker_carries_a_message_back_to_its_sender(broker: Broker) -> None:
    assert came_back(broker) == b"salt"


def test_the_broker_comes_back_on_the_same_port_after_a_power_cut(broker: Broker) -> None:
    port = broker.port
    broker.stop(kill=True)
    broker.start()
    assert broker.port == port
    assert came_back(broker) == b"salt"


def test_a_broker_that_cannot_start_fails_with_its_own_words(tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="no-such-setting"):
        Broker(tmp_path, extra=["no-such-setting true"]).start()


def came_back(broker: Broker) -> bytes:
    """What a client receives that has subscribed to what it publishes."""
    received: list[bytes] = []
    arrived = threading.Event()
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.on_connect = lambda *_: client.subscribe("house/test", qos=1)
    client.on_subscribe = lambda *_: client.publish("house/test", b"salt", qos=1)

    def keep(_client: mqtt.Client, _userdata: object, message: mqtt.MQTTMessage) -> None:
        received.append(message.payload)
        arrived.set()

    client.on_message = keep
    client.connect(broker.host, broker.port)
    client.loop_start()
    try:
        assert arrived.wait(ANSWER_S_MAX), broker.log.read_text(encoding="utf-8")
    finally:
        client.disconnect()
        client.loop_stop()
    return received[0]
