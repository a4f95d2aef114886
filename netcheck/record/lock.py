"""A lock on the open record, so that one process writes it; the system releases it when the process ends."""

from __future__ import annotations

import sys

if sys.platform == "win32":
    import errno
    import msvcrt
    import os

    _FAR = 1 << 40  # a byte beyond every record: on Windows a lock also stops readers

    # What the C runtime says of a locked byte; some give no reason (0).
    _LOCKED = (errno.EACCES, errno.EDEADLK, errno.EDEADLOCK, 0)

    def hold(handle: int) -> None:
        """Take the lock; BlockingIOError if another process has it."""
        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno not in _LOCKED:
                raise
            raise BlockingIOError(errno.EACCES, "locked") from error
        finally:
            os.lseek(handle, 0, os.SEEK_SET)

else:
    import fcntl

    def hold(handle: int) -> None:
        """Take the lock; BlockingIOError if another process has it, another OSError if the file cannot be locked."""
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
