"""The gateway's settings: what is wrong is said with file, key, found and allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.settings import SettingsFault, read_settings

SOUND = """
data = "history"
[broker]
port = 1884
[console]
port = 9000
[sites.north-head]
title = "North Head"
[sites.north-head.units.m1]
insulators = ["A1", "B2"]
"""


def settings_file(folder: Path, text: str) -> Path:
    path = folder / "gateway.toml"
    path.write_text(text)
    return path


def test_sound_settings_are_read_and_paths_are_meant_from_the_file(tmp_path: Path) -> None:
    settings = read_settings(settings_file(tmp_path, SOUND))
    assert settings.data == tmp_path / "history"
    assert settings.broker.port == 1884
    assert settings.sites["north-head"].units["m1"].insulators == ("A1", "B2")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("port = 1884", "prot = 1884", r"broker\.prot: found '1884'.*not known"),
        (
            "port = 1884",
            "port = 70000",
            r"broker\.port: found '70000'.*less than or equal to 65535",
        ),
        ("port = 1884", 'port = "x"', r"broker\.port: found 'x'.*integer"),
        ("port = 1884", 'host = "10.0.0.1"', r"broker: host '10\.0\.0\.1'.*without TLS only"),
        ("port = 9000", 'host = "0.0.0.0"', r"console: host '0\.0\.0\.0'.*without TLS only"),
        ('data = "history"', "", "data: missing"),
        ("north-head", "North_Head", r"sites.*found 'North_Head'"),
        ('"A1"', '"A,1"', r"insulators\.0: found 'A,1'"),
        ("[broker]", "[broker", "not TOML"),
    ],
)
def test_a_fault_names_file_key_found_and_allowed(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    assert old in SOUND
    path = settings_file(tmp_path, SOUND.replace(old, new))
    with pytest.raises(SettingsFault, match=rf"settings .*gateway\.toml: .*{said}") as caught:
        read_settings(path)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingsFault, match=r"absent\.toml: No such file"):
        read_settings(tmp_path / "absent.toml")
