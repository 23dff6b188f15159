"""COMTRADE recordings: read from open buffers, fed as one signal, written.

Revisions 1991, 1999 and 2013; ASCII, BINARY, BINARY32 and FLOAT32; two files or one.
"""

from edge.recording.configuration import parse_header
from edge.recording.faults import RecordingError
from edge.recording.feed import feed
from edge.recording.model import FileType, Header, Revision
from edge.recording.record import Record, read_pair, read_single_file
from edge.recording.writer import Writing, quantised, write_pair, write_single_file

__all__ = [
    "FileType",
    "Header",
    "Record",
    "RecordingError",
    "Revision",
    "Writing",
    "feed",
    "parse_header",
    "quantised",
    "read_pair",
    "read_single_file",
    "write_pair",
    "write_single_file",
]
