"""The broker as deployed keeps nothing on the disk, so no damaged file keeps it from starting."""

from __future__ import annotations

from pathlib import Path

import pytest
from paho.mqtt import publish

from tests.broker import Broker
from tests.deploy.authority import Authority
from tests.deploy.deployed import DeployedBroker

MEMORY = "mosquitto.db"
SAVED_BY_A_STOP = ("persistence true", "autosave_interval 0")


def memory_of_a_real_broker(folder: Path) -> bytes:
    """What a mosquitto that remembers leaves behind when it is asked to end."""
    folder.mkdir()
    broker = Broker(folder, [*SAVED_BY_A_STOP, f"persistence_location {folder}/"])
    broker.start()
    # Once it answers, it hears a request to end; just after its first words it may not.
    publish.single("kept", b"here", qos=1, retain=True, hostname=broker.host, port=broker.port)
    broker.stop()
    return (folder / MEMORY).read_bytes()


def corrupt(memory: bytes, kind: str) -> bytes:
    return bytes(len(memory)) if kind == "zeroed" else bytes(octet ^ 0xFF for octet in memory)


class RememberingTwin(DeployedBroker):
    """The deployed settings, but with a memory on the disk."""

    def _settings_file(self) -> Path:
        path = super()._settings_file()
        text = path.read_text("utf-8")
        assert text.count("\npersistence false\n") == 1
        line = f"\npersistence true\npersistence_location {self.folder}/\n"
        path.write_text(text.replace("\npersistence false\n", line), encoding="utf-8")
        return path


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    made = Authority(tmp_path_factory.mktemp("authority") / "made")
    made.run("broker", "localhost")
    return made


@pytest.mark.parametrize("kind", ["zeroed", "inverted"])
def test_the_deployed_broker_starts_beside_a_corrupt_memory_that_stops_its_remembering_twin(
    kind: str, authority: Authority, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoilt = corrupt(memory_of_a_real_broker(tmp_path / "earlier"), kind)
    twin_place, place = tmp_path / "twin", tmp_path / "deployed"
    for each in (twin_place, place):
        each.mkdir()
        (each / MEMORY).write_bytes(spoilt)
    twin = RememberingTwin(twin_place, authority)
    with pytest.raises(AssertionError, match="did not start"):
        twin.start()
    monkeypatch.chdir(place)  # where a mosquitto without a persistence_location looks
    broker = DeployedBroker(place, authority)
    broker.start()
    broker.stop(kill=True)
    broker.start()
    broker.stop(kill=True)
    assert (place / MEMORY).read_bytes() == spoilt
