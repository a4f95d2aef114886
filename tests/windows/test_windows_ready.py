"""Tests of the messages of `ready` and of refusals about adapters and drivers of Windows that Wine does not have.

The records of adapters and routes have the types that Windows gives them (IfType, by the IANA ifType registry: 6
Ethernet, 24 loopback, 53 virtual, 71 wireless). They replace the results of iphlpapi.dll; everything else is netcheck.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.windows.build import ROOT
from tests.windows.wine import Windows, windows_path

PLAN = windows_path(ROOT / "plans" / "tarn-hollow-mended")
RECORDED = """
import contextlib, io, json, sys
from netcheck.wire.windows import iphlpapi, packet_driver
from netcheck.wire.windows.iphlpapi import AdapterRoute, WindowsAdapter
from netcheck.wire.links import open as links
from netcheck.cli.main import run

def adapter(index, name, kind, connected, *addresses, description="", metric=25):
    mac = 0x00005E005300 + index if kind in (6, 71) else 0
    held = tuple((int.from_bytes(bytes(map(int, one.split("."))), "big"), length) for one, length in addresses)
    return WindowsAdapter(index=index, name=name, description=description, mac=mac, type=kind, connected=connected,
        metric=metric, addresses=held)

ADAPTERS = [
    adapter(1, "Loopback Pseudo-Interface 1", 24, True, ("127.0.0.1", 8)),
    adapter(7, "Ethernet", 6, False, description="Onboard controller"),
    adapter(9, "Wi-Fi", 71, True, ("198.51.100.23", 24), description="Wireless adapter"),
    adapter(12, "Ethernet 3", 6, True, ("10.62.20.240", 24), description="USB adapter"),
    adapter(20, "Company VPN", 53, True, ("203.0.113.9", 32), description="Tunnel"),
]
def to(text, length, index, metric=0):
    first = int.from_bytes(bytes(map(int, text.split("."))), "big")
    return AdapterRoute(index=index, first=first, length=length, metric=metric)
ROUTES = [to("0.0.0.0", 0, 9), to("10.0.0.0", 8, 20), to("10.62.20.0", 24, 12), to("10.62.30.0", 24, 9)]
iphlpapi.adapters = lambda: ADAPTERS
iphlpapi.routes = lambda: ROUTES
said = []

def call(*words):
    out, err = io.StringIO(), io.StringIO()
    sys.argv, code = ["netcheck", *words], 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            run()
        except SystemExit as ended:
            code = ended.code
    said.append([code, " ".join(out.getvalue().split()), " ".join(err.getvalue().split())])
"""
CALLS = """
plan, out, permit = *sys.argv[1:3], ("--permit", "laboratory")
opened = links.open_link
class Closed:
    def close(self): pass
links.open_link = lambda *words, **more: Closed()
import netcheck.field.readiness_facts as facts
facts.open_link = links.open_link
call("ready", plan, "-i", "Ethernet 3")
call("ready", plan, "-i", "wi")
call("ready", plan, "-i", "Ethernet 3", "--link", "unprivileged")
facts.open_link = links.open_link = opened
call("prove", plan, *permit)
call("prove", plan, "-i", "eth", *permit)
call("prove", plan, "-i", "comp", *permit)
call("prove", plan, "-i", "Ethernet 4", *permit)

from scapy.config import conf
import scapy.arch.libpcap
scapy.arch.libpcap.load_winpcapy = lambda: None
conf.cache_pcapiflist = {}
packet_driver.is_administrator = lambda: False
call("prove", plan, "-i", "ethernet 3", *permit)
packet_driver.is_administrator = lambda: True
call("prove", plan, "-i", "ethernet 3", *permit)
conf.cache_pcapiflist = {"another": ("another", [], 0, "", None)}
call("prove", plan, "-i", "ethernet 3", *permit)
json.dump(said, open(out, "w"))
"""


def spoken(computer: Windows, folder: Path) -> list[Any]:
    """Run all calls in one Python, and return exit code, output and messages of each."""
    out = folder / "said.json"
    ended = computer.run("-c", RECORDED + CALLS, PLAN, windows_path(out), cwd=folder)
    assert ended.returncode == 0, ended.stderr.decode()[-2000:]
    said: list[Any] = json.loads(out.read_text(encoding="utf-8"))
    return said


@pytest.fixture(scope="module")
def said(computer: Windows, tmp_path_factory: pytest.TempPathFactory) -> list[Any]:
    """Return the result of each call; see CALLS."""
    return spoken(computer, tmp_path_factory.mktemp("ready"))


def test_ready_names_vpn_wireless_and_routes(said: list[Any]) -> None:
    """The tunnel takes planned addresses, the wireless adapter has a route for some, and is switched on."""
    code, out, _ = said[0]
    assert code == 1
    for part in (
        "ok interface: Ethernet 3 is there and has carrier",
        "fix VPN: the tunnel Company VPN has a route for 10.0.0.0/8",
        "note wireless: Wi-Fi is wireless and switched on",
        "fix route: the route 10.62.30.0/24 sends packing (10.62.30.0/24) through Wi-Fi",
        "ok right: Ethernet 3 can be opened (portable link)",
    ):
        assert part in out, out


def test_ready_refuses_a_wireless_adapter_and_warns_of_the_firewall(said: list[Any]) -> None:
    """The beginning of a name is enough, and the link without rights depends on the firewall."""
    assert "fix interface: Wi-Fi is wireless: no cable can be proven through it" in said[1][1]
    assert "note firewall: this link sees only the echo replies that this computer's firewall lets in" in said[2][1]


def test_interfaces_are_listed_with_the_names_that_windows_shows(said: list[Any]) -> None:
    """The list has state, address and description.

    The beginning of several names lists them; an unknown name is refused.
    """
    code, _, error = said[3]
    assert code == 2
    for part in ("Ethernet (no cable, Onboard controller)", "Ethernet 3 (cable, 10.62.20.240, USB adapter)", "Wi-Fi"):
        assert part in error, error
    code, _, error = said[4]
    assert (code, "beginning of several interface names" in error, "Ethernet and Ethernet 3" in error) == (
        3,
        True,
        True,
    )
    code, _, error = said[5]
    assert (code, "Company VPN is not Ethernet" in error) == (3, True), error
    code, _, error = said[6]
    assert (code, "disabled in the list of network connections" in error) == (3, True), error


@pytest.mark.parametrize(
    ("number", "parts"),
    [
        pytest.param(
            7, ("no administrator rights", "Run as administrator", "restricted to administrators"), id="rights"
        ),
        pytest.param(8, ("the capture driver shows no interface at all", "adapter's properties"), id="nothing shown"),
        pytest.param(9, ("the capture driver does not show this interface", "may need a restart"), id="not bound"),
    ],
)
def test_a_refusal_says_what_is_missing_and_what_to_do(said: list[Any], number: int, parts: tuple[str, ...]) -> None:
    """The exit code is 3, and nothing is sent."""
    code, _, error = said[number]
    assert code == 3
    for part in ("Ethernet 3: ", *parts):
        assert part in error, error
