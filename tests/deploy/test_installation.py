"""An installation from nothing in a bare Debian, as far as it goes without booting."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from tests.deploy.debian_root import DebianRoot, debian_root

pytestmark = [pytest.mark.long, pytest.mark.timeout(3600)]

AUTHORITY = "/srv/authority"
UNITS = {
    "gateway": ("seafret-broker.service", "seafret-gateway.service", "seafret-backup.timer"),
    "edge": ("seafret-edge.service",),
}


@pytest.fixture(scope="module", params=["gateway", "edge"])
def installed(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[str, DebianRoot]]:
    """A root with the role's first version, settings and certificates."""
    with debian_root(tmp_path_factory.mktemp("debian")) as root:
        said = root.install(request.param)
        assert "in use: /opt/seafret/versions/" in said and "still missing" in said
        certificates = f"{root.source}/deploy/certificates.sh"
        for words in (
            ("init", "Gannet Power"),
            ("gateway",),
            ("broker", "localhost"),
            ("unit", "gannet-head.mast-3"),
        ):
            root.run("bash", certificates, *words, "--dir", AUTHORITY)
        pairs = {"edge": "gannet-head.mast-3", "gateway": "seafret-gateway", "broker": "broker"}
        for whose, who in pairs.items():
            if whose == request.param or (whose, request.param) == ("broker", "gateway"):
                root.install("certificates", f"{AUTHORITY}/issued/{who}/current", whose)
        if request.param == "gateway":
            root.run("cp", f"{AUTHORITY}/crl.pem", "/etc/seafret/broker/crl.pem")
        example = f"/etc/seafret/{request.param}.example.toml"
        root.run("cp", example, f"/etc/seafret/{request.param}.toml")
        yield request.param, root


def test_a_role_is_installed_brought_to_another_version_and_back(
    installed: tuple[str, DebianRoot],
) -> None:
    role, root = installed
    for unit in UNITS[role]:
        assert root.run("systemctl", "is-enabled", unit).strip() == "enabled"
    placed = [f"/etc/systemd/system/{unit}" for unit in UNITS[role]]
    assert root.run("systemd-analyze", "verify", "--man=no", *placed) == ""
    assert "seafret" in root.run("seafret-edge", "--version")
    bill = json.loads(root.run("cat", "/opt/seafret/current/sbom.json"))
    assert bill["metadata"]["component"]["name"] == "seafret"
    settings = f"/etc/seafret/{role}.toml"
    root.run("sh", "-c", f"echo '# ours' >> {settings}")
    ours = root.run("cat", settings)

    first = root.run("readlink", "-f", "/opt/seafret/current")
    assert "the services start at the next boot" in root.install(role)
    second = root.run("readlink", "-f", "/opt/seafret/current")
    assert second != first and root.run("cat", settings) == ours
    root.install("roll-back")
    assert root.run("readlink", "-f", "/opt/seafret/current") == first
    root.install("roll-back")
    assert root.run("readlink", "-f", "/opt/seafret/current") == second
    assert root.install("versions").count("(in use)") == 1
    other = {"edge": "gateway", "gateway": "edge"}[role]
    assert "one machine has one role" in root.install(other, code=69)


def test_a_version_that_cannot_be_built_changes_nothing(
    installed: tuple[str, DebianRoot],
) -> None:
    role, root = installed
    before = root.run("readlink", "-f", "/opt/seafret/current")
    root.run("sh", "-c", f"echo 'import no_such_part' >> {root.source}/edge/daemon/running.py")
    root.run("sh", "-c", f"echo 'import no_such_part' >> {root.source}/gateway/service.py")
    assert "cannot build" in root.install(role, code=69)
    assert root.run("readlink", "-f", "/opt/seafret/current") == before
    assert "broken off" not in root.install("versions")


def test_keys_in_place_are_readable_by_their_service_only(
    installed: tuple[str, DebianRoot],
) -> None:
    role, root = installed
    keys = ["/etc/seafret/certificates/current/key.pem"]
    owners = [f"seafret-{role}"]
    if role == "gateway":
        keys.append("/etc/seafret/broker/current/key.pem")
        owners.append("seafret-broker")
    for key, owner in zip(keys, owners, strict=True):
        assert root.run("stat", "-L", "-c", "%U %a", key).strip() == f"{owner} 400"
    root.run("sh", "-c", f"mkdir /tmp/mixed && cp {AUTHORITY}/ca.pem /tmp/mixed/ca.pem")
    root.run("cp", f"{AUTHORITY}/issued/broker/current/cert.pem", "/tmp/mixed/cert.pem")
    root.run("cp", f"{AUTHORITY}/issued/seafret-gateway/current/key.pem", "/tmp/mixed/key.pem")
    said = root.install("certificates", "/tmp/mixed", role, code=69)
    assert "do not belong together" in said
