"""A weather station on a Modbus RTU line, by pymodbus.

Registers of 16 bits, high byte first; of numbers of two registers the high word comes first unless
the settings say otherwise (as recalled of the Modbus application protocol, which leaves it open).
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from typing import TYPE_CHECKING

from edge.quantities import BY_COLUMN
from edge.sense.weather.station import Reading, StationFault
from edge.source_settings import RegisterKind, RegisterPart, WeatherPart, in_units

if TYPE_CHECKING:
    from pymodbus.client import ModbusSerialClient

FORMATS = {
    RegisterKind.U16: ">H",
    RegisterKind.S16: ">h",
    RegisterKind.U32: ">I",
    RegisterKind.S32: ">i",
    RegisterKind.F32: ">f",
}
PARITIES = {"none": "N", "even": "E", "odd": "O"}

RETRIES = 1
"""A second try for what a disturbance took; more would hold up the next reading."""

FAULT_CODES = {
    1: "it does not know this kind of register: try the other table",
    2: "it has no such address: see its register list; count from 0",
    3: "it does not allow this read: see its register list",
    4: "it has failed: look at the station",
}
"""Exception codes of the protocol, as recalled."""


class ModbusStation:
    """One device of the line; the port is opened when first asked, and again after a fault."""

    def __init__(self, part: WeatherPart) -> None:
        self._part = part
        self._client = _client(part)

    def read(self) -> Reading:
        now: dict[str, int] = {}
        totals: dict[str, int] = {}
        for one in self._part.reading:
            figure = self._figure(one)
            name = BY_COLUMN[one.column].name
            (totals if one.total else now)[name] = in_units(one.column, figure)
        return Reading(now, totals)

    def _figure(self, one: RegisterPart) -> float:
        from pymodbus.exceptions import ModbusException

        where = f"{self._part.port} device {self._part.device_id}"
        if not self._client.connected and not self._client.connect():
            raise StationFault(
                f"{self._part.port} cannot be opened; check the adapter, the name and the "
                "service's group (often dialout)"
            )
        count = struct.calcsize(FORMATS[one.type]) // 2
        ask = self._client.read_input_registers
        if one.table == "holding":
            ask = self._client.read_holding_registers
        try:
            answer = ask(one.address, count=count, device_id=self._part.device_id)
        except (ModbusException, OSError) as fault:
            self._client.close()  # type: ignore[no-untyped-call]
            raise StationFault(
                f"{where} does not answer; check supply, wiring (A and B), baud, parity and "
                f"device_id ({fault})"
            ) from fault
        what = f"{where}, {one.table} register {one.address} ({one.column})"
        if answer.isError():
            why = FAULT_CODES.get(getattr(answer, "exception_code", 0), f"it says {answer}")
            raise StationFault(f"{what}: {why}")
        if len(answer.registers) != count:
            found = len(answer.registers)
            raise StationFault(f"{what}: {found} registers came where {count} were asked for")
        return figure_of(one, answer.registers, what)

    def close(self) -> None:
        self._client.close()  # type: ignore[no-untyped-call]


def figure_of(one: RegisterPart, registers: Sequence[int], what: str) -> float:
    """Registers as the column's figure. Raises StationFault where they hold no number."""
    words = registers[::-1] if one.low_word_first else registers
    packed = struct.pack(f">{len(words)}H", *words)
    (number,) = struct.unpack(FORMATS[one.type], packed)
    figure = float(number * one.scale + one.offset)
    if not math.isfinite(figure):
        raise StationFault(f"{what} holds no number; check type and low_word_first")
    return figure


def _client(part: WeatherPart) -> ModbusSerialClient:
    try:
        from pymodbus.client import ModbusSerialClient
    except ImportError as fault:
        raise StationFault(
            'weather.kind = "modbus-rtu" needs what the base install lacks: '
            "pip install 'seafret[weather]'"
        ) from fault
    assert part.port is not None
    return ModbusSerialClient(
        part.port,
        baudrate=part.baud,
        parity=PARITIES[part.parity],
        stopbits=part.stop_bits,
        timeout=part.timeout_s,
        retries=RETRIES,
    )
