"""A unit whose converter sits in its own computer, with a humidity chip beside it."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from edge import __main__ as command_line
from edge.checking.sensors import LOOK_S
from edge.commissioning.standing import WITNESS_FILE, content_sha, is_in_service, subject_sha
from edge.sense.recordings import open_recordings
from edge.settings import SettingsError, parse_settings
from tests.edge.daemon.builders import daemon_in, kept_bodies, played_out, settings_text
from tests.edge.sense.iio.tree_builder import RATE_HZ, SCAN, Tree, on_time
from tests.edge.sense.weather.test_iio_nodes import chip

SIGNAL_S = 8.0
SPARE_S = 0.2
"""What nobody reads must fit into the pipe, or its writer would wait for ever."""


def settings(tree: Tree, more: str = "") -> str:
    """The converter's two elements as the two insulators; scale 0.25 mV makes 0.01 mA a code."""
    channels = ", ".join(
        f'{{ name = "{name}", element = "{element}", phase = "A", ma_per_mv = {figure} }}'
        for name, element, figure in (
            ("old-post", "in_voltage0", 0.04),
            ("new-rubber", "in_voltage2", 0.0004),
        )
    )
    voltage = '{ name = "UA", element = "in_voltage1", phase = "A", kv_per_mv = 0.01 }'
    return settings_text(
        f"""kind = "iio"
[source.iio]
device = "iio:device0"
rate_hz = {RATE_HZ}
root = "{tree.root}"
channel = [{channels}, {voltage}]
{more}"""
    )


def night(signal_s: float) -> np.ndarray:
    """old-post: a film current of 2 mA; new-rubber: a dry current of 0.08 mA; 18 kV crest."""
    theta = 2 * np.pi * 50 * np.arange(round(RATE_HZ * signal_s)) / RATE_HZ
    table = np.zeros(theta.size, SCAN)
    table["v0"] = np.rint(200 * np.sin(theta))
    table["v2"] = np.rint(800 * np.cos(theta)).astype(np.int64).astype(np.uint32) << np.uint32(8)
    table["v1"] = (np.rint(720 * np.sin(theta)).astype(np.int64) + 2048).astype(np.uint16) << 4
    table["stamp"] = on_time(theta.size)
    return table


@pytest.fixture
def tree(tmp_path: Path) -> Iterator[Tree]:
    made = Tree(tmp_path / "kernel")
    yield made
    made.close()


def test_a_unit_with_a_converter_keeps_rows_weather_and_says_that_it_is_commissioning(
    tree: Tree, tmp_path: Path
) -> None:
    chip(tree.root, in_humidityrelative_input="91250", in_temp_input="7500")
    weather = f'[weather]\nkind = "iio"\ndevice = "damp-chip"\nroot = "{tree.root}"\nevery_s = 0.2'
    daemon = daemon_in(tmp_path, settings(tree, weather), signal_s=SIGNAL_S)
    scans = night(SIGNAL_S).tobytes()
    half = len(scans) // 2 // 24 * 24
    tree.send(scans[:half])
    # The second half waits until the chip has been read, so that its reading finds a block.
    read = threading.Thread(target=lambda: _then(daemon, tree, scans[half:]), daemon=True)
    read.start()
    played_out(daemon)
    rows = {row["insulator"]: row for row in map(json.loads, kept_bodies(tmp_path, "interval"))}
    assert rows["old-post"]["state"] == "wet" and rows["new-rubber"]["state"] == "dry"
    assert rows["old-post"]["rms_na"] == pytest.approx(2e6 / 2**0.5, rel=0.01)
    assert rows["new-rubber"]["rms_na"] == pytest.approx(0.08e6 / 2**0.5, rel=0.02)
    (air,) = map(json.loads, kept_bodies(tmp_path, "weather"))
    assert (air["rh_cpct"], air["air_cdegc"]) == (9125, 750)
    beats = [json.loads(body) for body in kept_bodies(tmp_path, "health")]
    assert all("commissioning" in beat["reasons"] and beat["letter"] == "C" for beat in beats)
    assert beats[-1]["link_counters"]["samples_lost"] == 0
    assert beats[-1]["link_counters"]["weather_failed"] == 0
    assert tree.text("buffer/enable") == "0"


def _then(daemon: object, tree: Tree, scans: bytes) -> None:
    waiting = threading.Event()
    while daemon.source.counters()["weather_asked"] == 0:  # type: ignore[attr-defined]
        waiting.wait(0.01)
    assert tree._writer is not None
    tree._writer.join()
    tree.send(scans)


def test_record_and_check_read_a_converter_like_any_other_source(
    tree: Tree, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "edge.toml").write_text(settings(tree))
    scans = night(3 + SPARE_S)
    tree.send(scans.tobytes())
    out = tmp_path / "now.cfg"
    asked = ["--settings", str(tmp_path / "edge.toml")]
    assert command_line.main(["record", *asked, "--seconds", "3", "--out", str(out)]) == 0
    capsys.readouterr()
    found = next(iter(open_recordings(out).records[0].rows.chunks(3 * RATE_HZ))).samples
    np.testing.assert_array_equal(found[:, 0], scans["v0"][: 3 * RATE_HZ])
    assert found.dtype == np.int32
    tree.close()
    missing = settings(tree).replace("in_voltage2", "in_voltage7")
    (tmp_path / "edge.toml").write_text(missing)
    assert command_line.main(["check", *asked]) == 69
    said = capsys.readouterr().out
    assert "FAULT sensors: tern-adc has no scan element 'in_voltage7'; it has in_timestamp" in said


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("91250", "ok    weather: rh_pct 91.25"),
        ("912500", "FAULT weather: rh_pct 912.5; do: rh_pct cannot be: check type, scale and "),
        ("damp", "holds 'damp'; a number was expected"),
    ],
)
def test_check_asks_the_weather_station(
    tree: Tree, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, line: str
) -> None:
    chip(tree.root, in_humidityrelative_input=text)
    weather = f'[weather]\nkind = "iio"\ndevice = "damp-chip"\nroot = "{tree.root}"'
    (tmp_path / "edge.toml").write_text(settings(tree, weather))
    tree.send(night(LOOK_S + SPARE_S).tobytes())
    command_line.main(["check", "--settings", str(tmp_path / "edge.toml")])
    (said,) = [one for one in capsys.readouterr().out.splitlines() if " weather: " in one]
    assert line in said


def test_weather_stands_beside_live_sensors_only() -> None:
    text = settings_text('kind = "recordings"\npath = "x"\n[weather]\nkind = "iio"\ndevice = "d"')
    with pytest.raises(SettingsError, match='beside live sensors, not "recordings"'):
        parse_settings(text, "edge.toml")
    with pytest.raises(SettingsError, match=r"kind = \"iio\" needs a table \[source.iio\]"):
        parse_settings(settings_text('kind = "iio"'), "edge.toml")


def test_a_unit_is_in_service_only_with_a_whole_witness_of_these_sensors(tmp_path: Path) -> None:
    ours = parse_settings(settings_text('kind = "link"\nport = "/dev/ttyUSB0"'), "edge.toml")
    assert not is_in_service(tmp_path, ours)
    plain: dict[str, object] = {"subject_sha": subject_sha(ours), "in_service": True}
    plain["sha256"] = content_sha(plain)

    def stands(changed: dict[str, object]) -> bool:
        (tmp_path / WITNESS_FILE).write_text(json.dumps({**plain, **changed}))
        return is_in_service(tmp_path, ours)

    assert stands({}) and not stands({"note": "added later"}) and not stands({"sha256": "0"})
    blank = {**plain, "in_service": False}
    assert not stands({**blank, "sha256": content_sha(blank)})
    moved = settings_text('kind = "link"\nport = "/dev/other"').replace("earth lead", "ring")
    assert not is_in_service(tmp_path, parse_settings(moved, "edge.toml"))
    (tmp_path / WITNESS_FILE).write_text("{")
    assert not is_in_service(tmp_path, ours)
