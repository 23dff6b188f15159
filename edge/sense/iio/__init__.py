"""Converters of the Linux IIO subsystem: a small reader of its device tree and buffers.

Facts of the interface are those of the kernel's ABI text `sysfs-bus-iio` and its buffer code, as
recalled: type strings, alignment of a scan, millivolts and milliamperes as units of scaled values.
"""

from edge.sense.iio.converter import Converter, open_converter
from edge.sense.iio.tree import IioFault

__all__ = ["Converter", "IioFault", "open_converter"]
