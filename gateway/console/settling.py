"""What starting left behind, given back to the system once the gateway stands.

Opening two hundred histories and describing every route takes memory that is free afterwards, in
pieces between what stays; glibc gives such pages back only when it is asked to. What has been made
until then stays for as long as the gateway runs, so Python's collector need not look at it again.
Elsewhere than on glibc only the collector's part is done.
"""

from __future__ import annotations

import ctypes
import gc


def settle() -> bool:
    """Once, when everything is open; gives whether the allocator was asked."""
    gc.collect()
    gc.freeze()
    try:
        trim = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):
        return False
    trim(0)
    return True
