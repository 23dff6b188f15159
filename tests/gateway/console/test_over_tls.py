"""Over TLS accounts are in force without being asked for, and the terminal comes with a token."""

from __future__ import annotations

import ssl
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest
from pydantic import ValidationError

from gateway.accounts.register import Register
from gateway.accounts.roles import Role
from gateway.accounts.signing_in import Door
from gateway.accounts.store import AccountsFile
from gateway.clock import Clock
from gateway.history.lock import hold_data
from gateway.service import Gateway
from gateway.settings import Console, read_settings
from tests.broker import Broker
from tests.gateway.accounts.build import PASSWORD
from tests.gateway.console.running import SETTINGS, Seafret


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    path = tmp_path / "cert.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
         "-nodes", "-keyout", tmp_path / "key.pem", "-out", path, "-days", "2",
         "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"],
        check=True, capture_output=True,
    )  # fmt: skip
    return path


@pytest.fixture
def gateway(tmp_path: Path, broker: Broker, free_port: int, certificate: Path) -> Iterator[Gateway]:
    text = SETTINGS.format(broker=broker.port, console=free_port)
    tls = f'[console]\ntls_cert = "{certificate}"\ntls_key = "{tmp_path / "key.pem"}"\n'
    path = tmp_path / "gateway.toml"
    path.write_text(text.replace("[console]\n", tls))
    settings = read_settings(path)
    with hold_data(settings.data, "test"):
        made = Gateway(settings)
        made.start()
        yield made
        made.stop()


def door_of(tmp_path: Path) -> Door:
    return Door(Register(AccountsFile(tmp_path / "history"), Clock().utc_us))


def test_without_an_account_nobody_comes_in_and_the_page_says_how_to_make_one(
    gateway: Gateway, certificate: Path
) -> None:
    assert gateway.address.startswith("https://")
    trust = ssl.create_default_context(cafile=certificate)
    with httpx.Client(base_url=gateway.address, verify=trust, trust_env=False) as client:
        assert client.get("/api/1/alarms").status_code == 401
        assert client.get("/").headers["location"] == "/sign-in?next=/"
        page = client.get("/sign-in")
        assert "seafret accounts add NAME --role administrator" in page.text
        assert "max-age=" in page.headers["strict-transport-security"]


def test_the_terminal_comes_in_with_a_token_and_the_authority_it_believes(
    gateway: Gateway, certificate: Path, tmp_path: Path, seafret: Seafret,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    door = door_of(tmp_path)
    with closing(door.register.file):
        door.register.add("kr", Role.VIEWER, PASSWORD, "test")
        token = door.make_token("kr", "cron", 1, "test")
    at = ("--url", gateway.address)
    assert seafret("status", *at).code == 69  # nobody vouches for the certificate
    monkeypatch.setenv("SEAFRET_CA", str(certificate))
    refused = seafret("status", *at)
    assert (refused.code, "nobody is signed in" in refused.err) == (64, True)
    monkeypatch.setenv("SEAFRET_TOKEN", token)
    assert seafret("status", *at).code == 20
    handed = seafret("hand-over", *at)
    assert "SHIFT HAND-OVER" in handed.out
    assert max(map(len, handed.out.splitlines())) <= 80
    viewer = seafret("acknowledge", "north-head.1", *at)
    assert (viewer.code, "viewer" in viewer.err) == (64, True)


def test_another_address_than_this_machine_demands_tls_and_with_it_accounts() -> None:
    with pytest.raises(ValidationError, match="without tls_cert"):
        Console(host="0.0.0.0")
    assert Console(host="0.0.0.0", tls_cert=Path("c"), tls_key=Path("k")).asks_who
    assert not Console().asks_who
