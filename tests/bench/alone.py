"""One measurement in a process of its own, said as JSON; only what it needs is imported.

python -m tests.bench.alone replay FEED OUT PROCESSES
python -m tests.bench.alone live WIRE PIECE_BYTES
"""

from __future__ import annotations

import argparse
import json
import os
import time
from pathlib import Path
from typing import Any


def peak_mb() -> float:
    """Highest resident memory of this process so far [MB], mapped files included."""
    status = Path("/proc/self/status").read_text()
    (line,) = [one for one in status.splitlines() if one.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def replayed(feed: Path, out: Path, processes: int) -> dict[str, Any]:
    """A replay: wall and processor time, of the workers as well, and the highest memory."""
    from edge.allocator import keep_freed_memory
    from gateway.replay.run import Request, replay

    keep_freed_memory()
    begun_s = time.monotonic()
    replay(Request((feed,), processes=processes), out)
    times = os.times()
    return {
        "wall_s": time.monotonic() - begun_s,
        "cpu_s": times.user + times.system,
        "workers_cpu_s": times.children_user + times.children_system,
        "peak_mb": peak_mb(),
    }


def live(wire: Path, piece_bytes: int, begun: float) -> dict[str, Any]:
    """Bytes of the serial link through framing, reception and both steps, a piece at a time.

    lag_s: for each window, from its last sample to the end of the piece that gave its result, in
    the signal's time, and the processor time of that piece.
    """
    from edge.allocator import keep_freed_memory
    from tests.bench.live_steps import Steps

    keep_freed_memory()
    steps = Steps()
    ready_s = time.time() - begun
    lags_s, first_s = [], None
    begun_cpu_s = time.process_time()
    with wire.open("rb") as stream:
        while chunk := stream.read(piece_bytes):
            before_s = time.process_time()
            ends_s = steps.take(chunk)
            spent_s = time.process_time() - before_s
            lags_s += [steps.signal_s - end_s + spent_s for end_s in ends_s]
            if ends_s and first_s is None:
                first_s = steps.signal_s
    return {
        "ready_s": ready_s,
        "cpu_s": time.process_time() - begun_cpu_s,
        "signal_s": steps.signal_s,
        "windows": len(lags_s),
        "lags_s": lags_s,
        "first_window_s": first_s,
        "peak_mb": peak_mb(),
    }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("replay", "live"))
    parser.add_argument("arguments", nargs="+")
    parser.add_argument("--begun", type=float, default=0.0)
    asked = parser.parse_args()
    if asked.what == "replay":
        feed, out, processes = asked.arguments
        found = replayed(Path(feed), Path(out), int(processes))
    else:
        wire, piece_bytes = asked.arguments
        found = live(Path(wire), int(piece_bytes), asked.begun)
    print(json.dumps(found))


if __name__ == "__main__":
    main()
