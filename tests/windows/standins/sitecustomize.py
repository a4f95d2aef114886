"""Adds functions that Windows has and Wine 8 does not, so that the libraries under test find them.

Python imports this module when it starts. It is part of the laboratory, not of netcheck.
"""

from __future__ import annotations

import ctypes
import io
import json
import os
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

_found: Any = getattr(ctypes.CDLL, "__getattr__")  # noqa: B009  # the type stubs do not name it


class _StandIn:
    """A function with the attributes that ctypes functions have."""

    def __init__(self, answer: Callable[..., Any]) -> None:
        self.answer = answer
        self.argtypes = self.restype = self.errcheck = None

    def __call__(self, *arguments: Any) -> Any:
        return self.answer(*arguments)


def _signalled_event(handle: Any) -> Any:
    """Return an event that is always signalled: the reader then looks for frames without waiting."""
    create: Any = getattr(ctypes, "windll").kernel32.CreateEventW  # noqa: B009
    create.restype = ctypes.c_void_p
    return create(None, True, True, None)


def _set_console_mode(handle: Any, mode: Any) -> Any:
    """Refuse escape sequences (mode 4). Wine 8 accepts the mode, but draws the sequences as text."""
    value = getattr(mode, "value", mode)
    if value & 4:
        return 0
    real: Any = _found(getattr(ctypes, "WinDLL")("kernel32"), "SetConsoleMode")  # noqa: B009
    real.argtypes = [ctypes.c_void_p, ctypes.c_uint32]
    return real(handle, value)


MISSING: dict[str, Callable[..., Any]] = {
    "SspiGetTargetHostName": lambda *arguments: 0,  # secur32; scapy binds it when it is imported
    "pcap_setmintocopy": lambda *arguments: 0,  # wpcap
    "pcap_getevent": _signalled_event,  # wpcap
}


def _ticks() -> int:
    """Return the milliseconds since the start; add a minute of suspend when a certain file exists."""
    real: Any = _found(getattr(ctypes, "WinDLL")("kernel32"), "GetTickCount64")  # noqa: B009
    real.restype = ctypes.c_ulonglong
    return int(real()) + 60_000 * os.path.exists(os.environ["LABORATORY_SUSPEND"])


def _adapter_entry(row: Any) -> int:
    """Return ERROR_FILE_NOT_FOUND for every adapter, as if it was unplugged, while a certain file exists."""
    if os.path.exists(os.environ["LABORATORY_UNPLUGGED"]):
        return 2
    return int(_found(getattr(ctypes, "WinDLL")("iphlpapi"), "GetIfEntry2")(row))  # noqa: B009


if os.environ.get("LABORATORY_UNPLUGGED"):
    MISSING["GetIfEntry2"] = _adapter_entry
if os.environ.get("LABORATORY_SUSPEND"):
    MISSING["GetTickCount64"] = _ticks
if os.environ.get("LABORATORY_CONSOLE") == "old":  # a console before Windows 10
    MISSING["SetConsoleMode"] = _set_console_mode


def _or_stand_in(library: Any, name: str) -> Any:
    if name not in MISSING:
        return _found(library, name)
    stand_in = _StandIn(MISSING[name])  # Wine also has some of these names, but ends a program that calls them
    setattr(library, name, stand_in)
    return stand_in


setattr(ctypes.CDLL, "__getattr__", _or_stand_in)  # noqa: B010


def _kernel32() -> Any:
    return getattr(ctypes, "WinDLL")("kernel32")  # noqa: B009


def _begin_to_read_the_console() -> None:
    """Read the console's input once: before that, Wine's kbhit() never reports a key."""
    kernel32 = _kernel32()
    kernel32.GetStdHandle.restype = ctypes.c_void_p
    record, count = ctypes.create_string_buffer(20), ctypes.c_ulong()
    kernel32.PeekConsoleInputW(ctypes.c_void_p(kernel32.GetStdHandle(-10)), record, 1, ctypes.byref(count))


_begin_to_read_the_console()


class _Copied(io.RawIOBase):
    """A console's output that is also written to a file."""

    def __init__(self, console: Any, path: str) -> None:
        super().__init__()
        self._console, self._copy = console, open(path, "wb", buffering=0)  # noqa: SIM115  # open to the end

    def writable(self) -> bool:
        """Return True."""
        return True

    def isatty(self) -> bool:
        """Return True: it is a console."""
        return True

    def fileno(self) -> int:
        """Return the console's descriptor."""
        return int(self._console.fileno())

    def write(self, data: Any) -> int:
        """Write to the console, and write the accepted part to the copy."""
        taken = int(self._console.write(data))
        self._copy.write(bytes(data)[:taken])
        return taken


def _copy_what_is_written(path: str) -> None:
    output: Any = sys.stdout
    copied = io.BufferedWriter(_Copied(output.buffer.raw, path))
    sys.stdout = io.TextIOWrapper(copied, "utf-8", line_buffering=True)


def _keep_screens(path: str) -> None:
    """Write each new content of the console's window to a file, as JSON text on one line."""
    kernel32 = _kernel32()
    kernel32.CreateFileW.restype = ctypes.c_void_p
    console = ctypes.c_void_p(kernel32.CreateFileW("CONOUT$", 0xC0000000, 3, None, 3, 0, None))
    before = ""
    with open(path, "w", encoding="utf-8") as file:
        while True:
            info = (ctypes.c_short * 11)()  # size, cursor, attributes, window: left, top, right, bottom; largest
            kernel32.GetConsoleScreenBufferInfo(console, ctypes.byref(info))
            text = "\n".join(_row(kernel32, console, number, info[0]) for number in range(info[6], info[8] + 1))
            if text != before:
                before = text
                file.write(json.dumps(text.rstrip()) + "\n")
                file.flush()
            time.sleep(0.2)


def _row(kernel32: Any, console: Any, number: int, width: int) -> str:
    characters, count = ctypes.create_unicode_buffer(width + 1), ctypes.c_ulong()
    kernel32.ReadConsoleOutputCharacterW(console, characters, width, ctypes.c_uint32(number << 16), ctypes.byref(count))
    return characters.value.rstrip()


if page := os.environ.get("LABORATORY_CODE_PAGE"):  # as `chcp` does
    assert _kernel32().SetConsoleCP(int(page))
    assert _kernel32().SetConsoleOutputCP(int(page))
if screens := os.environ.get("LABORATORY_SCREENS"):
    if os.environ.get("LABORATORY_CONSOLE") == "old":
        threading.Thread(target=_keep_screens, args=(screens,), daemon=True).start()
    else:
        _copy_what_is_written(screens)
