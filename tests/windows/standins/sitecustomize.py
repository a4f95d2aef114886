"""Add functions that Windows has and Wine 8 lacks, so that the libraries under test find them.

Python imports this module at its start. It is part of the laboratory, not of the product.
"""

from __future__ import annotations

import ctypes
import os
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
    """Refuse escape sequences (mode 4). Wine 8 accepts the mode, but draws the sequences as parts of lines."""
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


if os.environ.get("LABORATORY_CONSOLE") == "old":  # a console before Windows 10
    MISSING["SetConsoleMode"] = _set_console_mode


def _or_stand_in(library: Any, name: str) -> Any:
    if name not in MISSING:
        return _found(library, name)
    stand_in = _StandIn(MISSING[name])  # Wine names some of them as well, and ends the program that calls them
    setattr(library, name, stand_in)
    return stand_in


setattr(ctypes.CDLL, "__getattr__", _or_stand_in)  # noqa: B010


def _begin_to_read_the_console() -> None:
    """Look into the console's input once: before that, Wine's kbhit() never sees a key."""
    kernel32: Any = getattr(ctypes, "windll").kernel32  # noqa: B009
    kernel32.GetStdHandle.restype = ctypes.c_void_p
    record, count = ctypes.create_string_buffer(20), ctypes.c_ulong()
    kernel32.PeekConsoleInputW(ctypes.c_void_p(kernel32.GetStdHandle(-10)), record, 1, ctypes.byref(count))


_begin_to_read_the_console()
