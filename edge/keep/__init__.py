"""Keep: what the edge has seen survives power cuts, full disks and weeks without a link."""

from edge.keep.durable_file import DurableFile
from edge.keep.faults import FileInUse, ForeignFile, StorageFault, StorageFull
from edge.keep.ledger import Lane, Stamp
from edge.keep.states import Calibration

__all__ = [
    "Calibration",
    "DurableFile",
    "FileInUse",
    "ForeignFile",
    "Lane",
    "Stamp",
    "StorageFault",
    "StorageFull",
]
