"""`seafret accounts`: the first administrator, and no way in without one."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest

from gateway.__main__ import main
from tests.gateway.accounts.build import PASSWORD

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    settings = tmp_path / "gateway.toml"
    settings.write_text('data = "history"\n[console]\naccounts = true\n[sites.a]\n')

    def run(*words: str, said: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO(said))
        code = main(["accounts", *words, "--settings", str(settings)])
        return code, *capsys.readouterr()

    return run


def add(run: Run, name: str, role: str, password: str = PASSWORD) -> tuple[int, str, str]:
    return run("add", name, "--role", role, "--password-stdin", said=password + "\n")


def test_the_first_administrator_is_made_by_the_command_and_listed(run: Run) -> None:
    assert run("list") == (0, "", "")
    assert add(run, "mk", "administrator") == (0, "mk: administrator\n", "")
    code, out, _ = run("list")
    assert (code, out.split()) == (0, ["mk", "administrator", "in", "use"])


@pytest.mark.parametrize(
    ("name", "password", "said"),
    [("mk", "short", "12"), ("mk", "", "12"), ("M K", PASSWORD, "account name")],
)
def test_what_is_not_acceptable_is_one_line_and_wrong_use(
    run: Run, name: str, password: str, said: str
) -> None:
    code, out, err = add(run, name, "operator", password)
    assert (code, out) == (64, "")
    assert said in err and len(err.splitlines()) == 1
    assert PASSWORD not in err


def test_the_last_administrator_stays_and_others_are_changed(run: Run) -> None:
    add(run, "mk", "administrator")
    add(run, "kr", "operator")
    assert run("role", "mk", "viewer")[0] == 64
    assert run("role", "kr", "engineer")[0] == 0
    assert run("disable", "kr")[0] == 0
    assert "disabled" in run("list")[1]
    assert run("password", "kr", "--password-stdin", said="two owls on a post\n")[0] == 0
    assert run("unlock", "kr")[0] == 0
    assert run("unlock", "nobody")[0] == 64


def test_a_token_is_printed_once_and_is_long(run: Run) -> None:
    add(run, "mk", "administrator")
    code, out, _ = run("token", "mk", "--for", "cron")
    assert code == 0
    assert len(out.strip()) >= 43
    assert run("token", "mk", "--for", "cron", "--days", "401")[0] == 64
