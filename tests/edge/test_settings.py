"""Settings: what is sound loads; each fault is one line with file, key, found and allowed."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from edge.measure.plan import MeasurePlan
from edge.samples import Channel, ChannelKind, SignalDescription
from edge.settings import SettingsError, decision_plan, measure_plan, parse_settings

SOUND = """
[unit]
id = "saltmarsh.mast-3"

[site]
name = "Salt Marsh"
nominal_hz = 50
nominal_kv = 19.1
coast_bearing_deg = 250
latitude_deg = 51.4

[source]
kind = "link"
port = "/dev/ttyUSB0"
voltage_channel = "U1"

[[insulator]]
id = "M3-A"
type = "composite"
profile = "aerodynamic"
voltage_class_kv = 36
creepage_mm = 1116
arcing_distance_mm = 380
creepage_basis = "phase-phase"
phase = "A"
sensor_place = "ring above the earthed end"
installed = 2019-05-01

[[insulator.ranges]]
channel = "I1-fine"
full_scale_ma = 10

[[insulator.ranges]]
channel = "I1"
full_scale_ma = 500

[[insulator.calibrations]]
id = "bench-2026"
valid_from = 2026-02-01T00:00:00Z
gain = 1.02
dry_ma = 0.11
dry_deg = 87.5
dry_spread_ma = 0.01

[limits]
wet_peak_ma = 0.25

[alarms.arcing]
owner = "line maintenance"
reason = "bay is patrolled daily"
priority = 1

[store]
folder = "data"

[broker]
host = "127.0.0.1"
port = 1883
"""

CURRENT, VOLTAGE = ChannelKind.CURRENT, ChannelKind.VOLTAGE
DESCRIPTION = SignalDescription(
    10_000.0,
    50,
    (
        Channel("I1-fine", CURRENT, "A"),
        Channel("I1", CURRENT, "A"),
        Channel("U1", VOLTAGE, "A"),
        Channel("U2", VOLTAGE, "B"),
    ),
)


def spoiled(old: str, new: str) -> str:
    assert SOUND.count(old) == 1, f"{old!r} must be there once"
    return SOUND.replace(old, new)


def lines_of(text: str) -> list[str]:
    with pytest.raises(SettingsError) as fault:
        parse_settings(text, "mast.toml")
    return str(fault.value).splitlines()


def test_sound_settings_become_a_plan_of_the_measure() -> None:
    plan = measure_plan(parse_settings(SOUND, "mast.toml"), DESCRIPTION, ("time-zone-assumed",))
    (insulator,) = plan.insulators
    assert isinstance(plan, MeasurePlan)
    assert [one.channel for one in insulator.ranges] == ["I1-fine", "I1"]
    assert (plan.voltage_channel, plan.voltage_phase, plan.nominal_kv) == ("U1", "A", 19.1)
    assert plan.limits.wet_peak_ma == 0.25
    assert plan.flags == ("time-zone-assumed",)
    (calibration,) = insulator.calibrations
    assert calibration.from_us == 1_769_904_000_000_000
    assert (calibration.gain, calibration.dry_ma, calibration.dry_deg) == (1.02, 0.11, 87.5)


def test_a_sites_own_alarm_settings_reach_the_decision() -> None:
    settings = parse_settings(SOUND, "mast.toml")
    assert decision_plan(settings, 10_000.0) != decision_plan(
        parse_settings(spoiled("priority = 1", "priority = 3"), "mast.toml"), 10_000.0
    )


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ("latitude_deg = 51.4", "latitude = 51.4", "site.latitude", "is no key"),
        ("wet_peak_ma = 0.25", "wet_peek_ma = 0.25", "limits.wet_peek_ma", "is no key"),
        ("[store]", "[storage]", "storage", "is no key"),
        ("nominal_hz = 50", "nominal_hz = 55", "site.nominal_hz is 55", "50 or 60"),
        ("full_scale_ma = 10\n", "full_scale_a = 0.01\n", "ranges.0.full_scale_a", "is no key"),
        ("creepage_mm = 1116", 'creepage_mm = "1116 mm"', "insulator.0.creepage_mm", "number"),
        ("creepage_mm = 1116", "creepage_mm = -1116", "creepage_mm is -1116", "greater than 0"),
        ("creepage_mm = 1116", "creepage_mm = nan", "insulator.0.creepage_mm is nan", "finite"),
        ("creepage_mm = 1116\n", "", "insulator.0.creepage_mm is missing", "add it"),
        ("coast_bearing_deg = 250", "coast_bearing_deg = 360", "deg is 360", "less than 360"),
        ('type = "composite"', 'type = "plastic"', "type is 'plastic'", "'coated-glass'"),
        ('basis = "phase-phase"', 'basis = "line"', "creepage_basis is 'line'", "'phase-earth'"),
        ('id = "saltmarsh.mast-3"', 'id = "Mast 3"', "unit.id is 'Mast 3'", "pattern"),
        ('id = "M3-A"', 'id = "M3,A"', "insulator.0.id is 'M3,A'", "pattern"),
        ('id = "M3-A"', f'id = "{"x" * 49}"', "insulator.0.id", "pattern"),
        ("port = 1883", "port = 70000", "broker.port is 70000", "65535"),
        ("gain = 1.02", "gain = 0", "insulator.0.calibrations.0", "gain is 0; it must be above 0"),
        ("dry_deg = 87.5\n", "", "insulator.0.calibrations.0", "dry_ma and dry_deg belong"),
        ("2026-02-01T00:00:00Z", "2026-02-01T00:00:00", "calibrations.0", "needs a time zone"),
        ('kind = "link"', 'kind = "serial"', "source.kind is 'serial'", "'recordings'"),
        ('port = "/dev/ttyUSB0"\n', "", "source", "needs port"),
        ("priority = 1", "priority = 4", "alarms.arcing.priority is 4", "3"),
        ("[alarms.arcing]", "[alarms.sparking]", "alarms.sparking", "is unknown; there are"),
        ('reason = "bay is patrolled daily"\n', "", "alarms.arcing.reason is missing", "add it"),
        ('host = "127.0.0.1"', 'host = "broker.example"', "broker", "only loopback"),
        ('folder = "data"', 'folder = ""', "store.folder is ''", "at least 1 character"),
    ],
)  # fmt: skip
def test_a_fault_is_one_line_with_file_key_found_and_allowed(
    old: str, new: str, key: str, said: str
) -> None:
    (line,) = lines_of(spoiled(old, new))
    assert line.startswith("mast.toml: ")
    assert key in line
    assert said in line


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("full_scale_ma = 10\n", "full_scale_ma = 600\n", "the fine (smaller) one first"),
        ("full_scale_ma = 500\n", "", "two ranges need full_scale_ma each"),
        (
            "wet_peak_ma = 0.25",
            "wet_peak_ma = 2.0",
            "stated_floor_ma must not be below wet_peak_ma",
        ),
        ("wet_peak_ma = 0.25", "de_energised_ratio = 0.9", "must be below voltage_low_ratio"),
        ("wet_peak_ma = 0.25", "gone_ma = 0.5", "gone_ma must be below wet_peak_ma"),
        ("port = 1883", 'port = 1883\nca = "ca.pem"', "give all three"),
    ],
)
def test_a_contradiction_is_one_line_that_names_both_sides(old: str, new: str, said: str) -> None:
    (line,) = lines_of(spoiled(old, new))
    assert line.startswith("mast.toml: ")
    assert said in line


def test_calibrations_out_of_order_are_refused() -> None:
    older = """[[insulator.calibrations]]
id = "older"
valid_from = 2025-02-01T00:00:00Z

[limits]"""
    (line,) = lines_of(spoiled("[limits]", older))
    assert "in order of valid_from" in line


def test_two_insulators_of_one_name_are_refused() -> None:
    again = SOUND[SOUND.index("[[insulator]]") : SOUND.index("[limits]")]
    (line,) = lines_of(spoiled("[limits]", again + "[limits]"))
    assert "insulator id 'M3-A' is used twice" in line


def test_each_of_several_faults_gets_its_own_line() -> None:
    text = spoiled("nominal_hz = 50", "nominal_hz = 55").replace("port = 1883", "port = 0")
    lines = lines_of(text)
    assert [line.split(" is ")[0] for line in lines] == [
        "mast.toml: site.nominal_hz",
        "mast.toml: broker.port",
    ]


@pytest.mark.parametrize("text", ["[unit", "id = ", "a = 1\na = 2", "[unit]\n[unit]"])
def test_what_is_no_toml_is_one_line_with_its_place(text: str) -> None:
    (line,) = lines_of(text)
    assert re.fullmatch(r"mast\.toml: .*; mend the TOML", line)


def test_an_unknown_limit_of_an_alarm_is_one_line_that_names_the_file() -> None:
    text = spoiled("priority = 1", "limits = { loudness_db = 3 }")
    (line,) = lines_of(text)
    assert line.startswith("mast.toml: ")
    assert "loudness_db" in line


def test_a_channel_that_the_source_lacks_is_named_with_those_that_it_has() -> None:
    settings = parse_settings(spoiled('channel = "I1"\n', 'channel = "I9"\n'), "mast.toml")
    with pytest.raises(SettingsError, match=r"M3-A: .* 'I9'; it has I1-fine, I1$"):
        measure_plan(settings, DESCRIPTION)


def test_a_voltage_channel_is_no_range_of_a_current_sensor() -> None:
    settings = parse_settings(spoiled('channel = "I1"\n', 'channel = "U1"\n'), "mast.toml")
    with pytest.raises(SettingsError, match="no current channel 'U1'"):
        measure_plan(settings, DESCRIPTION)


def test_a_voltage_reference_that_the_source_lacks_is_named_with_those_that_it_has() -> None:
    text = spoiled('voltage_channel = "U1"', 'voltage_channel = "UX"')
    with pytest.raises(SettingsError, match=r"no voltage channel 'UX'; it has U1, U2$"):
        measure_plan(parse_settings(text, "mast.toml"), DESCRIPTION)


def test_the_hash_of_settings_follows_their_meaning_and_not_their_layout() -> None:
    sha = parse_settings(SOUND, "mast.toml").sha
    assert parse_settings("# a remark\n" + SOUND.replace("\n\n", "\n"), "other.toml").sha == sha
    assert parse_settings(spoiled("gain = 1.02", "gain = 1.03"), "mast.toml").sha != sha
    assert re.fullmatch(r"[0-9a-f]{16}", sha)


def test_every_settings_file_of_a_unit_that_is_shipped_loads() -> None:
    top = Path(__file__).resolve().parents[2]
    shipped = [*(top / "deploy").rglob("*.toml"), *(top / "replay_data").rglob("*.settings.toml")]
    texts = {path.name: path.read_text(encoding="utf-8") for path in shipped}
    units = {name: text for name, text in texts.items() if "unit" in tomllib.loads(text)}
    assert units
    for name, text in units.items():
        assert parse_settings(text, name).insulator
