"""Says why frames cannot be captured on Windows (no driver, or no right to use it), and what to do."""

from __future__ import annotations

import ctypes
import sys

from netcheck.errors import Problem

assert sys.platform == "win32", "for Windows only"

WITHOUT = "or use `--link unprivileged`, which needs no driver and no rights, and whose best verdict is `unsettled`"
INSTALL = f"Install a WinPcap-compatible capture driver as an administrator, {WITHOUT}"
AS_ADMINISTRATOR = (
    "Start the console with `Run as administrator`, or install the driver again without its setting "
    f"`restricted to administrators`; {WITHOUT}"
)
NOT_BOUND = (
    "Open the adapter's properties and switch the capture driver on in the list, or install the driver again; "
    "if the adapter was plugged in later, the driver may need a restart"
)


def why_not(name: str) -> Problem | None:
    """Return why frames cannot be captured on an interface; None if no reason is known before it is opened."""
    try:
        import scapy.libs.winpcapy  # noqa: F401  # loads the driver's library
    except (OSError, ImportError):
        return Problem("no capture driver is installed on this computer", name, INSTALL)
    from scapy.arch.libpcap import load_winpcapy
    from scapy.config import conf

    load_winpcapy()
    if not conf.cache_pcapiflist:
        return _without_right(name) or Problem("the capture driver shows no interface at all", name, NOT_BOUND)
    try:
        shown = conf.ifaces.dev_from_name(name).network_name in conf.cache_pcapiflist
    except ValueError:
        shown = False
    return None if shown else Problem("the capture driver does not show this interface", name, NOT_BOUND)


def why_not_opened(name: str, said: str) -> Problem:
    """Return why the driver does not open an interface that it shows; `said` is the driver's message."""
    return _without_right(name) or Problem(f"the capture driver says: {said}", name, NOT_BOUND)


def _without_right(name: str) -> Problem | None:
    if is_administrator():
        return None
    what = "the capture driver shows this user no interface: this console has no administrator rights"
    return Problem(what, name, AS_ADMINISTRATOR)


def is_administrator() -> bool:
    """Return whether this process has administrator rights."""
    try:
        return bool(ctypes.windll.shell32.IsUserAnAdmin())
    except OSError:
        return False
