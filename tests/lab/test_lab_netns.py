"""Tests of the laboratory itself: it works on the real kernel, and leaves nothing behind."""

from __future__ import annotations

import os
import socket
import subprocess
import sys

import pytest

from tests.lab.netns import NETNS, Lab, LabError

pytestmark = pytest.mark.lab


def names(greeting: str) -> tuple[str, list[str]]:
    """Return the greeting and the interfaces of the present namespace."""
    print("printed inside")
    return greeting, sorted(name for _, name in socket.if_nameindex())


def fails() -> None:
    """Raise an error in a namespace."""
    raise ValueError("on purpose")


@pytest.fixture
def pair(lab: Lab) -> tuple[str, str]:
    """Return two namespaces joined by a cable, each with an address."""
    one, two = lab.namespace("one"), lab.namespace("two")
    lab.veth((one, "eth0"), (two, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(one, "eth0", "192.0.2.1/24")
    lab.address(two, "eth0", "192.0.2.20/24")
    return one, two


def test_two_ends_of_a_cable_reach_each_other(lab: Lab, pair: tuple[str, str]) -> None:
    """An echo request passes the cable, and the reply comes back."""
    assert lab.echo(pair[0], "192.0.2.20", wait=2.0) == 1


def test_cable_out_and_in(lab: Lab, pair: tuple[str, str]) -> None:
    """Nothing answers while the far end is down; it answers when the end is up again."""
    lab.down(pair[1], "eth0")
    assert lab.echo(pair[0], "192.0.2.20", wait=0.2) == 0
    lab.up(pair[1], "eth0")
    assert lab.echo(pair[0], "192.0.2.20", count=3, wait=2.0, every=0.3) > 0


def test_echo_blocked(lab: Lab, pair: tuple[str, str]) -> None:
    """A host that is set to ignore echo requests does not answer them until it is set to answer again."""
    lab.echo_blocked(pair[1])
    assert lab.echo(pair[0], "192.0.2.20", wait=0.2) == 0
    lab.echo_blocked(pair[1], False)
    assert lab.echo(pair[0], "192.0.2.20") == 1


def test_a_switch_joins_three(lab: Lab) -> None:
    """Two hosts reach each other through a bridge in a third namespace."""
    one, two, switch = lab.namespace(), lab.namespace(), lab.namespace("switch")
    lab.veth((one, "eth0"), (switch, "p1"))
    lab.veth((two, "eth0"), (switch, "p2"))
    lab.bridge(switch, "br0", ["p1", "p2"])
    lab.address(one, "eth0", "192.0.2.1/24")
    lab.address(two, "eth0", "192.0.2.2/24")
    assert lab.echo(one, "192.0.2.2", wait=2.0) == 1


def test_functions_and_threads_run_inside(lab: Lab, pair: tuple[str, str]) -> None:
    """`call` and `inside` see the namespace's interfaces, and the thread returns to its own namespace."""
    home = os.readlink("/proc/thread-self/ns/net")
    assert lab.call(pair[0], names, "hello") == ("hello", ["eth0", "lo"])
    with lab.inside(pair[0]):
        assert sorted(name for _, name in socket.if_nameindex()) == ["eth0", "lo"]
        assert os.readlink("/proc/thread-self/ns/net") != home
    assert os.readlink("/proc/thread-self/ns/net") == home


def test_failures_are_raised_with_their_reason(lab: Lab, pair: tuple[str, str]) -> None:
    """This holds for a failure in a namespace and for a refusal of the kernel."""
    with pytest.raises(LabError, match="on purpose"):
        lab.call(pair[0], fails)
    with pytest.raises(LabError, match="nothere"):
        lab.up(pair[0], "nothere")


def test_closing_leaves_nothing_behind(lab: Lab) -> None:
    """Closing removes the namespaces and ends the processes, also after an error."""
    gone: list[str] = []
    with pytest.raises(ZeroDivisionError), Lab() as inner:  # noqa: PT012
        gone.append(inner.namespace("short"))
        process = inner.start(gone[0], [sys.executable, "-c", "import time; time.sleep(60)"])
        assert (NETNS / gone[0]).exists()
        _ = 1 / 0
    assert not (NETNS / gone[0]).exists()
    assert process.returncode is not None
    assert gone[0] not in subprocess.run(["ip", "netns"], capture_output=True, text=True).stdout
