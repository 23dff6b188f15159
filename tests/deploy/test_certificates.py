"""The script of the utility's authority."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from edge.checking.certificates import next_update, not_after
from tests.deploy.authority import PAST, Authority

UNIT = "gannet-head.mast-3"


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    return Authority(tmp_path / "authority")


def verified(authority: Authority, certificate: Path) -> bool:
    """Whether openssl believes it, the list of the revoked included."""
    both = authority.folder / "both.pem"
    both.write_bytes(authority.ca.read_bytes() + authority.revoked.read_bytes())
    words = ["openssl", "verify", "-crl_check", "-CAfile", str(both), str(certificate)]
    return subprocess.run(words, capture_output=True, check=False).returncode == 0


def test_a_units_certificate_names_it_and_ends_in_ninety_days(authority: Authority) -> None:
    certificate = authority.unit(UNIT) / "cert.pem"
    assert verified(authority, certificate)
    words = ["openssl", "x509", "-in", str(certificate), "-noout", "-subject"]
    said = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    assert said.strip().endswith(f"CN = {UNIT}")
    left = not_after(certificate.read_text("ascii"), "") - datetime.now(UTC)
    assert timedelta(days=89) < left <= timedelta(days=90)


def test_keys_are_for_their_keeper_only(authority: Authority) -> None:
    pair = authority.unit(UNIT)
    assert (pair / "key.pem").stat().st_mode & 0o077 == 0
    assert (authority.folder / "ca.key").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("name", ["mast-3", "a.b.c", "a+.b", "#.b", "Gannet.b", "a/.b", "a.", ""])
def test_a_name_that_could_reach_anothers_topics_is_never_signed(
    authority: Authority, name: str
) -> None:
    assert "must be SITE.MONITOR" in authority.run("unit", name, code=64)
    assert authority.run("list") == ""


def test_renewing_brings_a_new_pair_and_the_old_one_stays_valid(authority: Authority) -> None:
    old = authority.unit(UNIT).resolve()
    authority.run("renew", UNIT)
    new = authority.pair(UNIT).resolve()
    assert new != old
    assert (new / "key.pem").read_bytes() != (old / "key.pem").read_bytes()
    assert verified(authority, new / "cert.pem") and verified(authority, old / "cert.pem")


def test_revoking_shuts_out_every_pair_of_a_unit_and_no_other(authority: Authority) -> None:
    old = authority.unit(UNIT).resolve()
    authority.run("renew", UNIT)
    other = authority.unit("gannet-head.mast-4")
    assert "2 revoked" in authority.run("revoke", UNIT)
    assert not verified(authority, old / "cert.pem")
    assert not verified(authority, authority.pair(UNIT) / "cert.pem")
    assert verified(authority, other / "cert.pem")
    assert "no certificate that is not revoked" in authority.run("revoke", UNIT, code=64)


def test_a_broker_is_known_by_all_its_names_also_after_renewal(authority: Authority) -> None:
    authority.run("broker", "broker.gannet.example", "10.20.0.5")
    authority.run("renew", "broker")
    certificate = str(authority.pair("broker") / "cert.pem")
    for words in (["-checkhost", "broker.gannet.example"], ["-checkip", "10.20.0.5"]):
        command = ["openssl", "x509", "-in", certificate, "-noout", *words]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        assert "does match" in said


def test_an_authority_is_never_made_over_another(authority: Authority) -> None:
    before = authority.ca.read_bytes()
    assert "never overwritten" in authority.run("init", "Other", code=64)
    assert authority.ca.read_bytes() == before


@pytest.mark.parametrize(("days", "mark"), [(29, 30), (6, 7), (0, 1)])
def test_what_ends_soon_is_told_at_its_mark(authority: Authority, days: int, mark: int) -> None:
    until = datetime.now(UTC) + timedelta(days=days, hours=12)
    authority.unit(UNIT, "--until", until.strftime("%Y%m%d%H%M%SZ"))
    said = authority.run("check", code=10)
    assert f"ends in {days} days (mark: {mark})" in said and len(said.splitlines()) == 1


def test_what_has_ended_is_told_unless_it_was_revoked_as_well(authority: Authority) -> None:
    authority.unit(UNIT, "--from", PAST[0], "--until", PAST[1])
    assert "has ended" in authority.run("check", code=10)
    assert "expired" in authority.run("list")
    authority.run("revoke", UNIT)
    assert "nothing ends within 30 days" in authority.run("check")


def test_the_list_of_the_revoked_says_when_it_is_due_again(authority: Authority) -> None:
    due = next_update(authority.revoked.read_text("ascii"), "")
    assert timedelta(days=364) < due - datetime.now(UTC) <= timedelta(days=365)
    authority.run("crl", "--days", "5")
    said = authority.run("check", code=10)
    assert "crl.pem ends in" in said and "(mark: 7)" in said
