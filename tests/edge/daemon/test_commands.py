"""`check`, `record` and `calibrate` on recordings, where what they must say is known."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from edge import __main__ as command_line
from edge.checking.broker import certificate_finding, connection_finding
from edge.checking.certificates import CertificateUnreadable, not_after
from edge.clock import Clock
from edge.sense.recordings import open_recordings
from edge.settings import parse_settings
from tests.broker import Broker
from tests.edge.daemon.builders import RATE_HZ, RECORDED, settings_text, write_recording

CERTIFICATES = {
    datetime(2027, 12, 30, 0, 39, 57, tzinfo=UTC): """-----BEGIN CERTIFICATE-----
MIIBkTCCATegAwIBAgIUHtUXYZDc7AHgGTbuymqICqlsTfMwCgYIKoZIzj0EAwIw
HjEcMBoGA1UEAwwTZ2FubmV0LXN0YWNrLnBvbGUtMTAeFw0yNjExMjUwMDM5NTda
Fw0yNzEyMzAwMDM5NTdaMB4xHDAaBgNVBAMME2dhbm5ldC1zdGFjay5wb2xlLTEw
WTATBgcqhkjOPQIBBggqhkjOPQMBBwNCAAQu7vJ/z8SpvtTRImp5J0ojVTZigOoD
He3Jz4v9Sn2qFGO1GnvhB/95NnR83p+KJHLy31hjQBUNvMXNQGUmxsHfo1MwUTAd
BgNVHQ4EFgQULPbexFxmAXpJJW8SxJ6viJzvk8owHwYDVR0jBBgwFoAULPbexFxm
AXpJJW8SxJ6viJzvk8owDwYDVR0TAQH/BAUwAwEB/zAKBggqhkjOPQQDAgNIADBF
AiBW48U4ioxpw6gKCnj/Z0atqKa/8ZrnLB3cxH8vZAUSmAIhAIwX1Wru37wbGIH9
2G182OtkHM1CDI3hyE076q9Tru9b
-----END CERTIFICATE-----
""",
    datetime(2062, 6, 29, 0, 39, 57, tzinfo=UTC): """-----BEGIN CERTIFICATE-----
MIIBkjCCATmgAwIBAgIUV7MbyXM66j9ryq3UcIssvlNjh84wCgYIKoZIzj0EAwIw
HjEcMBoGA1UEAwwTZ2FubmV0LXN0YWNrLnBvbGUtMTAgFw0yNjExMjUwMDM5NTda
GA8yMDYyMDYyOTAwMzk1N1owHjEcMBoGA1UEAwwTZ2FubmV0LXN0YWNrLnBvbGUt
MTBZMBMGByqGSM49AgEGCCqGSM49AwEHA0IABEXzGzZ+5DsHgmdga6zthk4NswtR
o000o1Qb51CywZr4P4MoMHAf3ZBBkLF/1MSlyNn2EDLIC+W2pSKWq+1t0IWjUzBR
MB0GA1UdDgQWBBRpqDkyfq0k+RdoHsI1DGVDtlql3TAfBgNVHSMEGDAWgBRpqDky
fq0k+RdoHsI1DGVDtlql3TAPBgNVHRMBAf8EBTADAQH/MAoGCCqGSM49BAMCA0cA
MEQCIGdt6gqmlZ2kg1opuhCJnw2qwOvkpENEVvFFxakbTK/vAiAdl/NZQRGGNFjF
IgeTIY0eoqe4zaJQP8cTegNdWwilRw==
-----END CERTIFICATE-----
""",
}
"""Self-signed, keys thrown away, by their ends as openssl reads them: in both notations of time."""


@pytest.fixture(scope="module")
def dry(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder whose recording stays dry, with settings around it."""
    folder = tmp_path_factory.mktemp("dry")
    write_recording(folder, 12.0, arcs_from_s=99.0)
    (folder / "edge.toml").write_text(settings_text(RECORDED))
    return folder


def run(*arguments: object) -> int:
    return command_line.main([str(one) for one in arguments])


def lines_of(capsys: pytest.CaptureFixture[str]) -> dict[str, str]:
    """What `check` printed, by what it looked at."""
    shown = capsys.readouterr().out.splitlines()
    assert all(line.startswith(("ok    ", "FAULT ")) for line in shown)
    return {line[6:].partition(":")[0]: line for line in shown}


def test_check_has_a_line_for_everything_that_a_daemon_needs(
    dry: Path, capsys: pytest.CaptureFixture[str], broker: Broker
) -> None:
    (dry / "with-broker.toml").write_text(settings_text(RECORDED, broker.port))
    run("check", "--settings", dry / "with-broker.toml")
    lines = lines_of(capsys)
    things = ["settings", "sensors", "insulator old-post", "insulator new-rubber"]
    assert list(lines) == [*things, "clock", "disk", "broker"]
    assert "dry, peak 0.0" in lines["insulator old-post"]
    assert "50.00 Hz" in lines["insulator old-post"]
    assert all(lines[name].startswith("ok") for name in (*things, "disk", "broker"))


def test_check_ends_with_zero_only_if_every_line_is_ok(
    dry: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], free_port: int
) -> None:
    text = settings_text(RECORDED, free_port).replace("night.cfg", str(dry / "night.cfg"))
    (tmp_path / "data").write_text("a file stands where the folder is to be")
    (tmp_path / "edge.toml").write_text(text)
    assert run("check", "--settings", tmp_path / "edge.toml") == 69
    lines = lines_of(capsys)
    assert lines["disk"].startswith("FAULT") and "change its owner" in lines["disk"]
    assert lines["broker"].startswith("FAULT") and "refused" in lines["broker"]
    assert "do: check network" in lines["broker"] and lines["sensors"].startswith("ok")
    real_us = Clock().utc_us()
    plain = {"rate": 50.0, "real_origin_us": real_us, "shown_origin_us": real_us}
    (tmp_path / "clock.json").write_text(json.dumps(plain))
    text = text.replace('"data"', '"kept"').partition("[broker]")
    rest = text[2][text[2].index("[[insulator]]") :]
    (tmp_path / "edge.toml").write_text(text[0] + rest)
    clock = ("--clock", tmp_path / "clock.json")
    assert run("check", "--settings", tmp_path / "edge.toml", *clock) == 0
    assert all(line.startswith("ok") for line in lines_of(capsys).values())


def test_check_says_what_is_wrong_with_settings_and_channels(
    dry: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = settings_text(RECORDED)
    (dry / "wrong.toml").write_text(text.replace("coast_bearing_deg", "coast_deg"))
    assert run("check", "--settings", dry / "wrong.toml") == 64
    lines = lines_of(capsys)
    assert list(lines) == ["settings"] and "coast_deg is no key" in lines["settings"]
    (dry / "wrong.toml").write_text(text.replace('channel = "old-post"', 'channel = "UA"'))
    assert run("check", "--settings", dry / "wrong.toml") == 64
    lines = lines_of(capsys)
    assert "no current channel 'UA'; it has old-post" in lines["sensors"]


def test_a_broker_is_asked_as_this_unit(broker: Broker) -> None:
    from edge.send.link import Broker as Address

    accepted = connection_finding("a.b", Address("127.0.0.1", broker.port))
    assert accepted.line() == f"ok    broker: 127.0.0.1:{broker.port} accepts a.b"


@pytest.mark.parametrize("end", list(CERTIFICATES))
@pytest.mark.parametrize(
    ("left", "words"),
    [
        (timedelta(seconds=-1), "FAULT certificate unit.crt: expired on {}; do: renew it"),
        (timedelta(days=20), "FAULT certificate unit.crt: valid until {}, 20 days; do: renew it"),
        (timedelta(days=31), "ok    certificate unit.crt: valid until {}"),
    ],
)
def test_the_end_of_a_certificate_is_told_in_time(
    tmp_path: Path, end: datetime, left: timedelta, words: str
) -> None:
    (tmp_path / "unit.crt").write_text(CERTIFICATES[end])
    line = certificate_finding(tmp_path / "unit.crt", end - left).line()
    assert line.startswith(words.format(f"{end:%Y-%m-%d}"))


def test_what_is_no_certificate_is_refused_with_its_name() -> None:
    for text in ("", "-----BEGIN CERTIFICATE-----\nMAA=\n-----END CERTIFICATE-----\n"):
        with pytest.raises(CertificateUnreadable, match=r"unit\.crt is no PEM certificate"):
            not_after(text, "unit.crt")


def test_a_record_reads_back_as_the_samples_that_the_source_gave(
    dry: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "now.cfg"
    assert run("record", "--settings", dry / "edge.toml", "--seconds", 3, "--out", out) == 0
    assert "3.000 s, 14400 rows" in capsys.readouterr().out
    now, before = open_recordings(out).records[0], open_recordings(dry / "night.cfg").records[0]
    settings = parse_settings((dry / "edge.toml").read_text(), "x")
    assert now.header.station == "Gannet Stack" and settings.sha in now.header.device
    assert now.header.start_utc_ns == now.header.trigger_utc_ns == before.header.start_utc_ns
    assert [c.phase for c in now.description.channels] == ["A", "A", "A"]
    ours = next(iter(now.rows.chunks(3 * RATE_HZ)))
    theirs = next(iter(before.rows.chunks(3 * RATE_HZ)))
    assert (ours.samples == theirs.samples).all()
    assert not list(tmp_path.glob("*.part"))


def test_a_record_longer_than_one_block_has_rising_time_stamps(dry: Path, tmp_path: Path) -> None:
    import numpy as np

    from edge.recording.binary_rows import row_dtype
    from edge.recording.model import FileType

    out = tmp_path / "now.cfg"
    run("record", "--settings", dry / "edge.toml", "--seconds", 11, "--out", out)
    table = np.fromfile(out.with_suffix(".dat"), row_dtype(FileType.BINARY, 3, 0))
    assert (np.diff(table["number"]) == 1).all() and len(table) == 11 * RATE_HZ
    stamps = table["stamp"].astype(np.int64)
    assert abs(stamps - np.arange(len(table)) * 1e6 / RATE_HZ).max() <= 0.5


def test_a_dry_surface_gives_a_proposal_that_the_settings_take(
    dry: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("calibrate", "--settings", dry / "edge.toml", "--seconds", 10) == 0
    proposed = capsys.readouterr().out
    text = (dry / "edge.toml").read_text()
    first, second = proposed.strip().split("\n\n")
    whole = text.replace('\n[[insulator]]\nid = "new', f'\n{first}\n[[insulator]]\nid = "new')
    settings = parse_settings(f"{whole}\n{second}", "proposed.toml")
    for insulator in settings.insulator:
        (calibration,) = insulator.calibrations
        assert calibration.dry_ma == pytest.approx(0.08 / 2**0.5, rel=0.02)
        assert calibration.dry_deg == pytest.approx(90.0, abs=1.0)
        assert 0 < calibration.dry_spread_ma < 0.002
        assert calibration.valid_from == datetime(2026, 11, 24, 21, 58, 30, tzinfo=UTC)


def test_a_surface_that_is_not_dry_gets_no_dry_phasor(
    dry: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    night = write_recording(tmp_path, 12.0, arcs_from_s=2.0)
    assert run("calibrate", "--settings", dry / "edge.toml", "--from", night) == 10
    said = capsys.readouterr()
    assert "insulator old-post: it arcs, or may arc: no dry phasor" in said.err
    assert "insulator new-rubber:" in said.out and "old-post" not in said.out
    one = settings_text(RECORDED).partition('\n[[insulator]]\nid = "new')[0]
    (dry / "one.toml").write_text(one)
    assert run("calibrate", "--settings", dry / "one.toml", "--from", night) == 64
    said = capsys.readouterr()
    assert not said.out and said.err.endswith("come back in dry hours\n")
