"""A converter by its device tree and character device: set up, read, ended, refused."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from pydantic import ValidationError

from edge.samples import ChannelKind, SampleBlock, SourceItem, StreamEnd
from edge.sense.iio import Converter, IioFault, open_converter
from tests.edge.sense.iio.tree_builder import RATE_HZ, Tree, on_time, part, scans
from tests.edge.sense.link_builders import Clock


@pytest.fixture
def tree(tmp_path: Path) -> Iterator[Tree]:
    made = Tree(tmp_path)
    yield made
    made.close()


def opened(tree: Tree, **changed: object) -> Converter:
    return open_converter(part(tree.root, **changed), 50.0, Clock())


def all_items(converter: Converter) -> list[SourceItem]:
    try:
        return list(converter)
    finally:
        converter.close()


def rows_of(items: list[SourceItem]) -> np.ndarray:
    return np.concatenate([one.samples for one in items if isinstance(one, SampleBlock)])


def test_the_wanted_elements_are_switched_on_and_the_buffer_is_sized(tree: Tree) -> None:
    tree.put("scan_elements/in_voltage3_en", "1")
    converter = opened(tree, buffer_s=1.5, watermark_s=0.1)
    enabled = {
        name: tree.text(f"scan_elements/in_{name}_en")
        for name in ("voltage0", "voltage1", "voltage2", "voltage3", "timestamp")
    }
    assert enabled == {
        "voltage0": "1",
        "voltage1": "1",
        "voltage2": "1",
        "voltage3": "0",
        "timestamp": "1",
    }
    assert tree.text("buffer/length") == "7200" and tree.text("buffer/watermark") == "480"
    assert tree.text("current_timestamp_clock") == "monotonic"
    assert tree.text("buffer/enable") == "1"
    converter.close()
    converter.close()
    assert tree.text("buffer/enable") == "0"


def test_columns_are_the_installers_and_physical_as_scale_offset_and_figure_say(
    tree: Tree,
) -> None:
    converter = opened(tree)
    channels = {one.name: one for one in converter.description.channels}
    assert converter.description.rate_hz == RATE_HZ and list(channels) == ["post", "UA", "rod"]
    kinds = [one.kind for one in channels.values()]
    assert kinds == [ChannelKind.CURRENT, ChannelKind.VOLTAGE, ChannelKind.CURRENT]
    tree.send(scans(500).tobytes(), then_close=True)
    rows = rows_of(all_items(converter)).astype(float)
    n = np.arange(500)
    physical = {
        name: rows[:, at] * one.gain + one.offset for at, (name, one) in enumerate(channels.items())
    }
    np.testing.assert_allclose(physical["post"], (n - 7) * 0.25 * -0.5)
    np.testing.assert_allclose(physical["UA"], (n - 2048) * 2.5 * 0.01)
    np.testing.assert_allclose(physical["rod"], (n - 500) * 0.25 * 2)
    assert (channels["UA"].raw_min, channels["UA"].raw_max) == (0, 4095)
    assert (channels["post"].raw_min, channels["post"].raw_max) == (-(2**23), 2**23 - 1)


def test_scans_cut_anywhere_come_out_whole_and_in_order(tree: Tree) -> None:
    converter = opened(tree)
    tree.send(scans(9_000).tobytes(), then_close=True)
    items = all_items(converter)
    end = items[-1]
    assert isinstance(end, StreamEnd) and end.counter == 9_000
    assert "iio:device0 (tern-adc) has ended" in end.reason == converter.silence()
    assert rows_of(items)[:, 2].tolist() == (np.arange(9_000) % 1000 - 500).tolist()
    assert converter.counters() == {"scans": 9_000, "samples_lost": 0}


def test_what_the_kernel_dropped_is_a_gap_and_counted(tree: Tree) -> None:
    converter = opened(tree)
    kept = np.r_[0:800, 1_200:2_000]
    tree.send(scans(1_600, on_time(2_000)[kept]).tobytes(), then_close=True)
    items = all_items(converter)
    blocks = [one for one in items if isinstance(one, SampleBlock)]
    found = np.concatenate([np.arange(one.counter, one.counter_end) for one in blocks])
    np.testing.assert_array_equal(found, kept)
    assert converter.counters() == {"scans": 1_600, "samples_lost": 400}


def test_without_stamps_the_scans_are_counted_as_they_come(tree: Tree) -> None:
    for ending in ("en", "index", "type"):
        tree.put(f"scan_elements/in_timestamp_{ending}", None)
    converter = opened(tree)
    table = scans(300)
    packed = np.frombuffer(table.tobytes(), np.uint8).reshape(300, 24)[:, :12].tobytes()
    tree.send(packed, then_close=True)
    items = all_items(converter)
    assert rows_of(items)[:, 2].tolist() == table["v0"].tolist()


def test_sixteen_bits_stay_sixteen_bits(tree: Tree) -> None:
    one = [{"name": "rod", "element": "in_voltage0", "ma_per_mv": 1}]
    converter = opened(tree, channel=one)
    table = np.zeros(50, np.dtype([("v0", "<i2"), ("pad", "V6"), ("stamp", "<i8")]))
    table["v0"], table["stamp"] = -32768, on_time(50)
    tree.send(table.tobytes(), then_close=True)
    rows = rows_of(all_items(converter))
    assert rows.dtype == np.int16 and (rows == -32768).all()


def test_a_converter_that_falls_silent_says_so_and_is_given_up_in_the_end(tree: Tree) -> None:
    clock = Clock(tick_s=0.9)
    converter = open_converter(part(tree.root), 50.0, clock)
    assert converter.silence() == "no scan yet"
    os.write(tree.end, scans(20).tobytes())
    items = iter(converter)
    next(items)
    assert converter.silence() == ""
    rest = list(items)
    assert isinstance(rest[-1], StreamEnd) and "gave no scan for" in rest[-1].reason
    converter.close()


def test_a_trigger_that_is_named_paces_the_converter(tree: Tree) -> None:
    tree.put("sampling_frequency", None)
    trigger = tree.folder.parent / "trigger3"
    trigger.mkdir()
    (trigger / "name").write_text("hrtimer-tern\n")
    (trigger / "sampling_frequency").write_text("100\n")
    opened(tree, trigger="hrtimer-tern").close()
    assert tree.text("trigger/current_trigger") == "hrtimer-tern"
    assert (trigger / "sampling_frequency").read_text() == "4800"
    with pytest.raises(IioFault, match="name the trigger that paces it"):
        opened(tree)


FAULTS: list[tuple[str, dict[str, str | None], dict[str, object], str]] = [
    (
        "no such device",
        {},
        {"device": "puffin"},
        r"no IIO device 'puffin'; there are: iio:device0 "
        r"\(tern-adc\)",
    ),
    (
        "element",
        {"scan_elements/in_voltage2_en": None},
        {},
        "no scan element 'in_voltage2'; it has in_timestamp, in_voltage0",
    ),
    ("no scale", {"in_voltage_scale": None}, {}, "neither in_voltage2_scale nor in_voltage_scale"),
    ("scale of nothing", {"in_voltage_scale": "0"}, {}, "in_voltage_scale is 0"),
    ("scale in words", {"in_voltage_scale": "much"}, {}, "holds 'much'; a number was expected"),
    ("type", {"scan_elements/in_voltage0_type": "le:f16/16"}, {}, "'le:f16/16' is no type"),
    ("bits", {"scan_elements/in_voltage0_type": "le:s40/64>>0"}, {}, "has 40 bits; at most 32"),
    ("no rate", {"sampling_frequency": None}, {}, "no sampling_frequency: name the trigger"),
    ("no buffer", {"buffer/length": None}, {}, "buffer/length is missing"),
]


@pytest.mark.parametrize(
    ("changed", "wanted", "words"), [one[1:] for one in FAULTS], ids=[one[0] for one in FAULTS]
)
def test_what_is_wrong_with_a_converter_is_said_with_its_file(
    tmp_path: Path, changed: dict[str, str | None], wanted: dict[str, object], words: str
) -> None:
    tree = Tree(tmp_path)
    for name, text in changed.items():
        tree.put(name, text)
    with pytest.raises(IioFault, match=words):
        opened(tree, **wanted)
    tree.close()


def test_a_rate_that_the_device_does_not_take_is_refused_with_those_it_has(tree: Tree) -> None:
    # A number that nobody can change stands for a driver that keeps its own rate.
    tree.put("sampling_frequency", None)
    (tree.folder / "sampling_frequency").symlink_to("/proc/sys/kernel/ngroups_max")
    with pytest.raises(IioFault, match="sampling_frequency does not take '4800'"):
        opened(tree)


def test_a_device_that_is_gone_or_named_twice_is_told(tree: Tree) -> None:
    tree.node.unlink()
    with pytest.raises(IioFault, match="iio:device0 is not there"):
        opened(tree)
    twin = tree.folder.parent / "iio:device1"
    twin.mkdir()
    (twin / "name").write_text("tern-adc")
    with pytest.raises(IioFault, match="the name of 2 devices; name one of iio:device0"):
        opened(tree)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"rate_hz": 1000}, "greater than or equal to 4800"),
        ({"watermark_s": 0.9, "buffer_s": 1}, "at most half of buffer_s"),
        ({"channel": [{"name": "a", "element": "in_voltage0"}]}, "exactly one of"),
        ({"channel": [{"name": "a", "element": "in_voltage0", "ma_per_mv": 0}]}, "ma_per_mv is 0"),
        ({"channel": [{"name": "a", "element": "in_temp", "ma_per_mv": 1}]}, "match pattern"),
        ({"channel": [{"name": "a", "element": "in_current0", "ma_per_mv": 1}]}, "does not belong"),
        ({"channel": [{"name": "a", "element": "in_voltage0", "ma_per_mv": 1}] * 2}, "used twice"),
        ({"device": "../x"}, "match pattern"),
    ],
)
def test_settings_of_a_converter_that_cannot_be_are_refused(
    tmp_path: Path, changed: dict[str, object], words: str
) -> None:
    with pytest.raises(ValidationError, match=words):
        part(tmp_path, **changed)
