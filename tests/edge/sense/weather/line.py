"""A Modbus RTU line made of two pseudo-terminals, and a station on it by another hand's server."""

from __future__ import annotations

import asyncio
import os
import select
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

STATION_ID = 7
START_S = 20.0


@contextmanager
def two_ends(folder: Path) -> Iterator[tuple[str, str]]:
    """Paths of two terminals; what is written to one is read from the other."""
    pairs = [os.openpty() for _ in range(2)]
    masters = [master for master, _ in pairs]
    for _, slave in pairs:
        tty.setraw(slave)
    over, tell = os.pipe()

    def carry() -> None:
        while True:
            ready, _, _ = select.select([*masters, over], [], [])
            if over in ready:
                return
            for master in ready:
                os.write(masters[1 - masters.index(master)], os.read(master, 4096))

    bridge = threading.Thread(target=carry, daemon=True)
    bridge.start()
    links = [folder / name for name in ("here", "there")]
    for link, (_, slave) in zip(links, pairs, strict=True):
        link.symlink_to(os.ttyname(slave))
    try:
        yield str(links[0]), str(links[1])
    finally:
        os.write(tell, b".")
        bridge.join()
        for handle in (*masters, *(slave for _, slave in pairs), over, tell):
            os.close(handle)


REGISTERS = {
    "inputs": [
        SimData(0, values=[8734], datatype=DataType.UINT16),
        SimData(1, values=[-125], datatype=DataType.INT16),
        SimData(10, values=[70_001], datatype=DataType.UINT32),
        SimData(20, values=[4.25], datatype=DataType.FLOAT32),
        SimData(30, values=[float("nan")], datatype=DataType.FLOAT32),
    ],
    "holdings": [SimData(0, values=[245], datatype=DataType.UINT16)],
}


class ServedStation:
    """pymodbus's own server in a thread of its own, from `start` to `stop`."""

    def __init__(self, port: str) -> None:
        self._port = port
        self._loop = asyncio.new_event_loop()
        self._started = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> ServedStation:
        self._thread.start()
        assert self._started.wait(START_S)
        return self

    def __exit__(self, *_: object) -> None:
        asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(START_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(START_S)
        self._loop.close()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._serve())
        self._loop.run_forever()

    async def _serve(self) -> None:
        bits = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
        device = SimDevice(
            STATION_ID, simdata=(bits, bits, REGISTERS["holdings"], REGISTERS["inputs"])
        )
        self._server = ModbusSerialServer(device, port=self._port, baudrate=9600)
        await self._server.listen()
        self._started.set()
