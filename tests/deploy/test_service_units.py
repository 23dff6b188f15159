"""The service units are sound and hardened, and the examples fit the installation."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from edge.settings import parse_settings
from gateway.settings import read_settings
from tests.house.measures import TOP

UNITS = TOP / "deploy/systemd"
SERVICES = sorted(UNITS.glob("*.service"))
DAEMONS = [path for path in SERVICES if path.stem != "seafret-backup"]
EXPOSURE_TENTHS_MAX = 15
"""Exposure 1.5 of 10, as `systemd-analyze security --threshold` counts it."""


def systemd_analyze(*words: str) -> subprocess.CompletedProcess[str]:
    program = shutil.which("systemd-analyze")
    assert program, "systemd-analyze is missing; tests/run.sh says or does what is needed"
    return subprocess.run(
        [program, *words], capture_output=True, text=True, check=False, timeout=60
    )


@pytest.mark.parametrize("path", SERVICES, ids=lambda path: path.stem)
def test_a_service_is_exposed_no_more_than_it_may(path: Path) -> None:
    ran = systemd_analyze(
        "security", "--offline=true", f"--threshold={EXPOSURE_TENTHS_MAX}", str(path)
    )
    assert ran.returncode == 0, ran.stdout[-200:] + ran.stderr


def test_the_threshold_is_one_that_a_bare_service_does_not_pass(tmp_path: Path) -> None:
    bare = tmp_path / "bare.service"
    bare.write_text("[Service]\nExecStart=/bin/true\n", encoding="utf-8")
    words = ("security", "--offline=true", f"--threshold={EXPOSURE_TENTHS_MAX}", str(bare))
    assert systemd_analyze(*words).returncode != 0


def test_systemd_finds_no_fault_in_any_unit(tmp_path: Path) -> None:
    """The programs are not installed here, so each is stood in for by one that is."""
    for path in UNITS.glob("seafret-*"):
        text = re.sub(r"(?m)^ExecStart=\S+", "ExecStart=/bin/true", path.read_text("utf-8"))
        (tmp_path / path.name).write_text(text, encoding="utf-8")
    paths = sorted(str(path) for path in tmp_path.iterdir())
    ran = systemd_analyze("verify", "--man=no", *paths)
    assert (ran.returncode, ran.stderr) == (0, "")


@pytest.mark.parametrize("path", DAEMONS, ids=lambda path: path.stem)
def test_a_daemon_is_started_again_whenever_it_ends_and_never_given_up(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    assert {"Type=notify", "Restart=always", "StartLimitIntervalSec=0"} <= set(lines)
    assert lines.index("StartLimitIntervalSec=0") < lines.index("[Service]")


@pytest.mark.parametrize("name", ["seafret-edge", "seafret-gateway"])
def test_our_daemons_are_watched_and_keep_their_state_where_the_examples_say(name: str) -> None:
    text = (UNITS / f"{name}.service").read_text("utf-8")
    assert re.search(r"(?m)^WatchdogSec=\d+$", text)
    state = re.search(r"(?m)^StateDirectory=(\S+)$", text)
    assert state
    folder = f"/var/lib/{state[1]}"
    unit = parse_settings((TOP / "deploy/edge.example.toml").read_text("utf-8"), "example")
    gateway = read_settings(TOP / "deploy/gateway.example.toml")
    assert unit.store is not None
    kept = {"seafret-edge": unit.store.folder, "seafret-gateway": str(gateway.data)}
    assert kept[name] == folder


def test_a_version_is_not_rolled_back_while_its_service_may_still_be_starting() -> None:
    """A gateway may have years of history to bring to a newer shape."""
    script = (TOP / "deploy/install.sh").read_text("utf-8")
    waits = re.search(r"(?m)^COMES_UP_S=(\d+)", script)
    starts = [
        re.search(r"(?m)^TimeoutStartSec=(\d+)$", path.read_text("utf-8")) for path in DAEMONS
    ]
    assert waits and int(waits[1]) >= max(int(found[1]) for found in starts if found)


def test_the_back_up_reaches_no_network() -> None:
    lines = set((UNITS / "seafret-backup.service").read_text("utf-8").splitlines())
    assert {"PrivateNetwork=yes", "RestrictAddressFamilies=none"} <= lines


def test_the_broker_says_each_rule_once() -> None:
    rules = [
        line
        for line in (TOP / "deploy/broker/acl").read_text("utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    assert len(rules) == len(set(rules))


def test_the_examples_are_mutual_tls_and_name_what_the_installation_places() -> None:
    script = (TOP / "deploy/install.sh").read_text("utf-8")
    unit = parse_settings((TOP / "deploy/edge.example.toml").read_text("utf-8"), "example")
    gateway = read_settings(TOP / "deploy/gateway.example.toml")
    assert unit.broker is not None and gateway.broker.tls is not None
    tls = gateway.broker.tls
    placed = "/etc/seafret/certificates/current"
    assert "SETTINGS_DIR=/etc/seafret " in script and "/certificates" in script
    ours = {str(Path(str(p)).parent) for p in (unit.broker.ca, unit.broker.key, tls.ca, tls.key)}
    assert ours == {placed}
    assert unit.broker.port == gateway.broker.port == 8883
    assert gateway.broker.log_command[:2] == ("journalctl", "--namespace=seafret-broker")
    assert "LogNamespace=seafret-broker" in (UNITS / "seafret-broker.service").read_text("utf-8")


def test_the_bill_of_materials_names_every_distribution_and_who_needs_whom(
    tmp_path: Path,
) -> None:
    import sys
    from importlib.metadata import distributions

    out = tmp_path / "sbom.json"
    subprocess.run([sys.executable, TOP / "deploy/sbom.py", "--out", out], check=True)
    bill = json.loads(out.read_text("utf-8"))
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.5")
    assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", bill["serialNumber"])
    libraries = {one["name"]: one for one in bill["components"] if one["type"] == "library"}
    installed = {re.sub(r"[-_.]+", "-", d.name).lower(): d.version for d in distributions()}
    own = bill["metadata"]["component"]["name"]
    assert {n: one["version"] for n, one in libraries.items()} == {
        n: v for n, v in installed.items() if n != own
    }
    references = {one["bom-ref"] for one in (*bill["components"], bill["metadata"]["component"])}
    assert len(references) == len(bill["components"]) + 1
    needs = {row["ref"]: row["dependsOn"] for row in bill["dependencies"]}
    assert set(needs) <= references and {one for row in needs.values() for one in row} <= references
    assert libraries["numpy"]["purl"] in needs[bill["metadata"]["component"]["bom-ref"]]
    platform = {one["name"] for one in bill["components"] if one["type"] == "platform"}
    assert {"cpython", "openssl", "sqlite"} <= platform
