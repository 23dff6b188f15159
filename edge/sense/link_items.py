"""What one frame holds as the items that a source delivers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from edge.samples import AnchorSource, SampleBlock, SourceItem, TimeAnchor
from edge.sense import frames
from edge.sense.frames import Anchor, Samples, Status

_SOURCE_OF = {code: source for source, code in frames.SOURCE_CODES.items()}
_WIRE_TYPES: dict[int, str] = {2: "<i2", 4: "<i4"}


def block_of(frame: Samples, start: int) -> SampleBlock:
    """Rows by channels; the channels at fault, and values that the mask names, are absent."""
    shape = (frame.rows, frame.channels)
    wire_type = np.dtype(_WIRE_TYPES[frame.bytes_each])
    samples: npt.NDArray[np.generic] = np.frombuffer(frame.packed, wire_type).reshape(shape)
    missing = None
    if frame.missing_bits is not None:
        bits = np.frombuffer(frame.missing_bits, np.uint8)
        count = frame.rows * frame.channels
        missing = np.unpackbits(bits, count=count, bitorder="little").astype(bool).reshape(shape)
    if frame.status & Status.SENSOR_FAULT:
        faulty = [bool(frame.fault_channels >> place & 1) for place in range(frame.channels)]
        absent = np.broadcast_to(np.array(faulty), shape)
        missing = absent.copy() if missing is None else missing | absent
    return SampleBlock(start, samples, missing)


def is_known_source(code: int) -> bool:
    return code in _SOURCE_OF


def time_anchor(frame: Anchor, shift: int) -> TimeAnchor:
    """An unknown source is no better than an undisciplined clock, whatever it says."""
    source = _SOURCE_OF.get(frame.source)
    return TimeAnchor(
        frame.counter + shift,
        frame.utc_ns,
        frame.error_ns,
        source or AnchorSource.LOCAL,
        frame.synchronised and source is not None,
    )


def joined(items: Sequence[SourceItem]) -> list[SourceItem]:
    """The items with consecutive blocks of one type and without a gap put together."""
    done: list[SourceItem] = []
    run: list[SampleBlock] = []
    for item in items:
        if isinstance(item, SampleBlock) and item.missing is None:
            if run and (
                run[-1].counter_end != item.counter or run[-1].samples.dtype != item.samples.dtype
            ):
                done.append(_one_block(run))
                run = []
            run.append(item)
            continue
        if run:
            done.append(_one_block(run))
            run = []
        done.append(item)
    return [*done, _one_block(run)] if run else done


def _one_block(run: Sequence[SampleBlock]) -> SampleBlock:
    if len(run) == 1:
        return run[0]
    return SampleBlock(run[0].counter, np.concatenate([block.samples for block in run]))
