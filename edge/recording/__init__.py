"""COMTRADE recordings: read from open buffers, fed as one signal, written.

Revisions 1991, 1999 and 2013; ASCII, BINARY, BINARY32 and FLOAT32; two files or one.
"""

from edge.recording.faults import RecordingError
from edge.recording.feed import feed
from edge.recording.record import Record, read_pair, read_single_file
from edge.recording.writer import Writing, write_pair

__all__ = [
    "Record",
    "RecordingError",
    "Writing",
    "feed",
    "read_pair",
    "read_single_file",
    "write_pair",
]
