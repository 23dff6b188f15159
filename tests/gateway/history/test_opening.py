"""Whoever is given a data folder finds its histories, be they files or in a database."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge.faults import Exit
from gateway.__main__ import main
from gateway.history.opening import POINTER, open_history, settled
from gateway.history.store import HistoryFault
from gateway.settings import SettingsFault, read_settings
from tests.gateway.build import commit, interval
from tests.gateway.history.behaviour import SITE
from tests.postgres import Server


def test_a_folder_told_of_a_database_shows_what_is_in_it_to_every_command(
    server: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    server.empty()
    writer = settled(tmp_path, server.address(), None).writer(SITE)
    writer.append(commit(1, [interval(n) for n in range(3)]))
    writer.close()
    out = tmp_path / "rows.csv"
    given = ["export", "--site", SITE, "--data", str(tmp_path), "--out", str(out)]
    assert main(given) == Exit.FINE
    assert "3 rows" in capsys.readouterr().out
    assert not list(tmp_path.glob("*.sqlite3"))


def test_a_gateway_whose_settings_forgot_the_database_does_not_begin_an_empty_history(
    tmp_path: Path,
) -> None:
    settled(tmp_path, "postgresql://owner@/somewhere", None)
    with pytest.raises(HistoryFault, match=r"postgresql://owner@/somewhere.*no \[history\]"):
        settled(tmp_path, None, None)


def test_a_pointer_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    (tmp_path / POINTER).write_text("addres = 1")
    with pytest.raises(HistoryFault, match=POINTER):
        open_history(tmp_path)


def test_a_server_that_does_not_answer_is_named_without_a_password(tmp_path: Path) -> None:
    place = f"postgresql://owner@/none?host={tmp_path}"
    with pytest.raises(HistoryFault, match=r"none.*must answer"):
        open_history(place).sites()
    with pytest.raises(HistoryFault, match="password_file") as told:
        open_history("postgresql://owner:hush@/none")
    assert "hush" not in str(told.value)


def test_a_password_comes_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "password"
    path.write_text("hush\n")
    made = open_history("postgresql://owner@/none", path)
    assert "password=hush" in made._conninfo  # type: ignore[attr-defined]
    with pytest.raises(HistoryFault, match="password file"):
        open_history("postgresql://owner@/none", tmp_path / "other")


def test_settings_name_a_database_and_never_a_password(tmp_path: Path) -> None:
    path = tmp_path / "gateway.toml"
    told = '[history]\naddress = "{}"\npassword_file = "word"\n[sites.a]\n'
    path.write_text('data = "here"\n' + told.format("postgresql://a@db/b"))
    at = read_settings(path).history
    assert at is not None and at.password_file == tmp_path / "word"
    for wrong in ("postgresql://a:hush@db/b", "postgresql://a@db/b?password=hush"):
        path.write_text('data = "here"\n' + told.format(wrong))
        with pytest.raises(SettingsFault, match=r"history\.address.*no password") as refused:
            read_settings(path)
        assert "hush" not in str(refused.value)


def test_a_back_up_says_that_the_histories_lie_elsewhere(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    open_history(data).writer(SITE).close()
    settled(data, "postgresql://owner@/none", None)
    assert main(["backup", "--data", str(data), "--out", str(tmp_path / "out")]) == Exit.FINE
    assert "they lie in postgresql://owner@/none" in capsys.readouterr().out


def test_a_worker_without_a_shared_database_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "gateway.toml"
    path.write_text('data = "here"\n[sites.a]\n')
    assert main(["ingest", "--settings", str(path), "--worker", "a"]) == Exit.OUT_OF_REACH
    assert "workers = true" in capsys.readouterr().err
