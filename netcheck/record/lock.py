"""One writer at a time: an advisory lock on the open record, which the system lifts when the process ends."""

from __future__ import annotations

import sys

if sys.platform == "win32":
    import msvcrt
    import os

    _FAR = 1 << 40  # a byte that no record reaches: the lock is mandatory here and must not hinder readers

    def hold(handle: int) -> None:
        """Take the lock; BlockingIOError where another process has it."""
        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError as error:
            raise BlockingIOError(*error.args) from error
        finally:
            os.lseek(handle, 0, os.SEEK_SET)

else:
    import fcntl

    def hold(handle: int) -> None:
        """Take the lock; BlockingIOError where another process has it, other OSErrors where none can be had."""
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
