"""The C library's allocator, told to keep what has been freed.

Measuring makes and drops arrays of some hundred kilobytes many times a second. Left alone, glibc
gives each back to the kernel and asks for it again, and the kernel clears every page anew: about a
third of the time of a replay. Elsewhere than on glibc nothing is changed.
"""

from __future__ import annotations

import ctypes

TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3
"""Numbers of two parameters of glibc's mallopt (mallopt(3))."""

MAPPED_BYTES_MIN = 32 * 1024 * 1024
"""Arrays from this size on are still mapped, and given back, one by one."""

KEPT_BYTES_MAX = 64 * 1024 * 1024
"""Freed memory at the end of the heap above this goes back to the kernel."""


def keep_freed_memory() -> bool:
    """For the rest of the process; gives whether the allocator took it."""
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError):
        return False
    took = [mallopt(MMAP_THRESHOLD, MAPPED_BYTES_MIN), mallopt(TRIM_THRESHOLD, KEPT_BYTES_MAX)]
    return all(took)
