"""Prepares a Windows console for output."""

from __future__ import annotations

import ctypes
import sys

assert sys.platform == "win32", "for Windows only"

STREAMS = (-11, -12)  # STD_OUTPUT_HANDLE and STD_ERROR_HANDLE, as GetStdHandle names them
ESCAPE_SEQUENCES = 4  # ENABLE_VIRTUAL_TERMINAL_PROCESSING


def enable_escape_sequences() -> None:
    """Let the console interpret escape sequences, as Windows 10 and 11 do. A stream that is no console is left alone.

    The screen is then drawn in one piece; without them every piece of a line is a call of its own."""
    kernel32 = ctypes.windll.kernel32
    kernel32.GetStdHandle.restype = ctypes.c_void_p
    for number in STREAMS:
        handle, mode = ctypes.c_void_p(kernel32.GetStdHandle(number)), ctypes.c_ulong()
        if kernel32.GetConsoleMode(handle, ctypes.byref(mode)):
            kernel32.SetConsoleMode(handle, ctypes.c_ulong(mode.value | ESCAPE_SEQUENCES))
