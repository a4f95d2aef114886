"""Turns errors of the operating system into errors that say what to do."""

from __future__ import annotations

import errno
import os
import platform
import sys

from netcheck.errors import LinkError, NetcheckError
from netcheck.text import safe


def on_linux() -> bool:
    """Return whether this is Linux, which the raw and the unprivileged link need."""
    return platform.system() == "Linux"


_RIGHT = (
    "Run it as root; or grant the right once to all users of this Python: `sudo setcap cap_net_raw+ep {python}`; "
    "or use `--link unprivileged`, whose best verdict is `unsettled`"
)
_PING_RIGHT = "Let users send echo requests: `sudo sysctl net.ipv4.ping_group_range='0 2147483647'`"

# The meaning of each error number for a link, and what to do.
_MEANING: dict[int, tuple[str, str]] = {
    errno.EPERM: ("no right to send and receive frames", _RIGHT),
    errno.EACCES: ("no right to send and receive frames", _RIGHT),
    errno.ENODEV: ("the interface was removed", "Plug it in again, then start again"),
    errno.ENXIO: ("the interface was removed", "Plug it in again, then start again"),
    errno.ENETDOWN: ("the interface is switched off", "{switch_on}"),
    errno.EAFNOSUPPORT: ("this system has no packet sockets", "Use `--link portable`"),
    errno.EPROTONOSUPPORT: ("this system has no sockets of this kind", "Use `--link portable`"),
    errno.EMFILE: ("too many open files", "Close other programs, or raise the limit: `ulimit -n 1024`"),
    errno.ENFILE: ("too many open files on this computer", "Close other programs"),
    errno.ENOBUFS: ("the system has no memory left for frames", "Close other programs"),
    errno.ENOMEM: ("the system has no memory left", "Close other programs"),
}


def switch_on(interface: str) -> str:
    """Return the instruction that switches an interface on. The name is not made safe here."""
    match platform.system():
        case "Linux":
            return f"Switch it on: `ip link set dev {interface} up`"
        case "Darwin":
            return f"Switch it on: `sudo ifconfig {interface} up`"
        case _:
            return "Switch it on in the list of network connections"


def link_error(error: OSError, interface: str, kind: str = "raw") -> NetcheckError:
    """Return the LinkError for an error of the system. `interface` may be empty; `kind` is that of the link."""
    what, do = _MEANING.get(error.errno or 0, (f"the system says: {error.strerror or error}", ""))
    if kind == "unprivileged" and error.errno in (errno.EPERM, errno.EACCES):
        what, do = "no right to send echo requests", _PING_RIGHT
    if sys.platform == "darwin" and error.errno in (errno.EPERM, errno.EACCES):
        do = "Run it with `sudo`"
    do = do.format(switch_on=switch_on(safe(interface)), python=os.path.realpath(sys.executable))
    return LinkError.of(what, where=safe(interface), do=do)


def needs_linux(kind: str) -> NetcheckError:
    """Return the error for a link that only Linux has."""
    return LinkError.of(f"the {kind} link needs Linux, and this is {platform.system()}", do="Use `--link portable`")
