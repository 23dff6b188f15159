"""The device tree of the IIO subsystem: a device found, its files read and written.

Every fault is one line: which file, what was found, what is allowed, what to do.
"""

from __future__ import annotations

import errno
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from edge.sense.iio.scan import Element, Layout, TypeUnknown, element_type, layout_of

DEVICES = Path("sys/bus/iio/devices")
CHARACTER_DEVICES = Path("dev")
TIMESTAMP = "in_timestamp"
RATE_TOLERANCE = 1e-3
"""A device that settles further from the wanted rate than this is refused: it would be another."""

STAMP_CLOCK = "monotonic"
"""Stamps by this clock are not moved when somebody sets the date."""


class IioFault(OSError):
    """The converter, its driver, or the settings that name it: the line says which."""


@dataclass(frozen=True, slots=True)
class Device:
    """folder: of its files. node: its character device. name: as its driver says."""

    folder: Path
    node: Path
    name: str


def find_device(root: Path, wanted: str) -> Device:
    """By number (`iio:device0`) or by the `name` that a driver gave. Raises IioFault."""
    names = _named(root, "iio:device*")
    found = [number for number, name in names.items() if wanted in (number, name)]
    if len(found) == 1:
        number = found[0]
        return Device(root / DEVICES / number, root / CHARACTER_DEVICES / number, names[number])
    there = ", ".join(f"{number} ({name})" for number, name in names.items()) or "none"
    if found:
        raise IioFault(f"{wanted!r} is the name of {len(found)} devices; name one of {there}")
    raise IioFault(
        f"there is no IIO device {wanted!r}; there are: {there}; check the wiring and whether its "
        "driver is loaded (dmesg)"
    )


def _named(root: Path, pattern: str) -> dict[str, str]:
    folders = sorted((root / DEVICES).glob(pattern))
    return {one.name: read_text(one / "name", "") for one in folders}


def read_text(path: Path, absent: str | None = None) -> str:
    """A file's text without its end of line; `absent` where there is no such file."""
    try:
        return path.read_text(encoding="ascii", errors="replace").strip()
    except FileNotFoundError:
        if absent is not None:
            return absent
        raise IioFault(f"{path} is missing; this driver has no such file") from None
    except OSError as fault:
        raise IioFault(f"{path} cannot be read: {fault.strerror}; see dmesg") from fault


def read_number(path: Path, absent: float | None = None) -> float:
    """A file's number. Raises IioFault."""
    text = read_text(path, None if absent is None else repr(absent))
    try:
        return float(text)
    except ValueError:
        raise IioFault(f"{path} holds {text!r}; a number was expected; see dmesg") from None


def write_text(path: Path, text: str) -> None:
    """Into a file of the tree. Raises IioFault with what a refusal means."""
    if not path.exists():
        raise IioFault(f"{path} is missing; this driver has no such file")
    try:
        path.write_text(text, encoding="ascii")
    except OSError as fault:
        means = {
            errno.EACCES: "the service's user may not write it; see the udev rule of the docs",
            errno.EPERM: "the service's user may not write it; see the udev rule of the docs",
            errno.EBUSY: "the device is in use; stop the other program that reads it",
            errno.EINVAL: "the driver does not take this; see the *_available file beside it",
        }
        why = means.get(fault.errno or 0, f"{fault.strerror}; see dmesg")
        raise IioFault(f"{path} does not take {text!r}: {why}") from fault


def scan_layout(device: Device, wanted: Sequence[str]) -> Layout:
    """Of the wanted elements, and of the time stamp where there is one. Raises IioFault."""
    folder = device.folder / "scan_elements"
    there = sorted(one.name.removesuffix("_en") for one in folder.glob("in_*_en"))
    if not there:
        raise IioFault(
            f"{folder} is missing or empty: {device.name} has no buffer; only "
            "converters with a buffer can be read fast enough"
        )
    for name in wanted:
        if name not in there:
            raise IioFault(f"{device.name} has no scan element {name!r}; it has {', '.join(there)}")
    stamp = [TIMESTAMP] if TIMESTAMP in there else []
    return layout_of([_element(folder, name) for name in [*wanted, *stamp]])


def _element(folder: Path, name: str) -> Element:
    path = folder / f"{name}_type"
    try:
        kind = element_type(read_text(path))
    except TypeUnknown as fault:
        raise IioFault(f"{path}: {fault}; this driver cannot be used") from fault
    return Element(name, round(read_number(folder / f"{name}_index")), kind)


def enable_scan(device: Device, layout: Layout, scans_held: int, scans_woken: int) -> None:
    """Elements chosen, buffer sized and switched on. Raises IioFault."""
    write_text(device.folder / "buffer/enable", "0")
    chosen = {one.name for one in layout.elements}
    for path in sorted((device.folder / "scan_elements").glob("in_*_en")):
        write_text(path, "1" if path.name.removesuffix("_en") in chosen else "0")
    clock = device.folder / "current_timestamp_clock"
    if clock.exists():
        write_text(clock, STAMP_CLOCK)
    write_text(device.folder / "buffer/length", str(scans_held))
    watermark = device.folder / "buffer/watermark"
    if watermark.exists():  # kernels before 4.2 have none (as recalled)
        write_text(watermark, str(scans_woken))
    write_text(device.folder / "buffer/enable", "1")


def disable_scan(device: Device) -> None:
    """Best done even when the device has just gone away; then it is off anyway."""
    try:
        write_text(device.folder / "buffer/enable", "0")
    except IioFault:
        return


def scale_and_offset(device: Device, element: str) -> tuple[float, float]:
    """(raw + offset) * scale is millivolts or milliamperes at the input. Raises IioFault.

    A file of the element itself stands before the one that is shared by its kind.
    """
    shared = "in_current" if element.startswith("in_current") else "in_voltage"
    shared = "in_voltage-voltage" if "-" in element else shared
    for name in (element, shared):
        scale = device.folder / f"{name}_scale"
        if scale.exists():
            break
    else:
        raise IioFault(
            f"{device.folder} has neither {element}_scale nor {shared}_scale: what a "
            "code stands for is not known; this driver cannot be used"
        )
    offsets = [device.folder / f"{name}_offset" for name in (element, shared)]
    offset = next((read_number(one) for one in offsets if one.exists()), 0.0)
    if (factor := read_number(scale)) == 0:
        raise IioFault(f"{scale} is 0; see dmesg, or set a range of the converter")
    return factor, offset


def settle_rate(root: Path, device: Device, rate_hz: float, trigger: str | None) -> float:
    """Sets the rate where it can be set, and reads what it has become. Raises IioFault."""
    if trigger is not None:
        write_text(device.folder / "trigger/current_trigger", trigger)
    for path in _rate_files(root, device, trigger):
        if path.exists():
            if not _is_near(read_number(path), rate_hz):
                write_text(path, f"{rate_hz:g}")
            settled = read_number(path)
            if not _is_near(settled, rate_hz):
                kept = read_text(path.with_name(f"{path.name}_available"), "not told")
                raise IioFault(
                    f"{path} stands at {settled:g} Hz, not at {rate_hz:g}; it can do: "
                    f"{kept}; set rate_hz to one of them"
                )
            return settled
    raise IioFault(f"{device.folder} has no sampling_frequency: name the trigger that paces it")


def _is_near(found_hz: float, wanted_hz: float) -> bool:
    return abs(found_hz - wanted_hz) <= RATE_TOLERANCE * wanted_hz


def _rate_files(root: Path, device: Device, trigger: str | None) -> list[Path]:
    files: list[Path] = []
    if trigger is not None:
        numbers = [n for n, name in _named(root, "trigger*").items() if name == trigger]
        files += [root / DEVICES / number / "sampling_frequency" for number in numbers]
    names = ("sampling_frequency", "in_voltage_sampling_frequency", "in_current_sampling_frequency")
    return files + [device.folder / name for name in names]
