"""Builds a laboratory of network namespaces on the real kernel, and removes it in every case.

    def test_something(lab: Lab) -> None:
        station, device = lab.namespace("station"), lab.namespace("device")
        lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
        lab.address(device, "eth0", "192.0.2.20/24")
        with lab.inside(station):                      # sockets that this thread opens belong to the station
            link = open_raw("eth0")
        lab.down(device, "eth0")                       # the station loses its carrier
        lab.call(station, some_module_function, 1, 2)  # or a process inside; arguments and result are pickled
        lab.start(device, ["python", "-m", "..."])     # ended when the laboratory closes

To use the fixture, write in conftest.py `from tests.lab.netns import lab  # noqa: F401`. Tests that use it have the
mark `@pytest.mark.lab`. Without root, `ip` or namespaces the fixture skips the test with the reason, or lets it fail if
CI=true. Namespaces are named `<prefix>-<process id>-<serial>-<name>`; the next run removes the namespaces of killed
processes. IPv6 is off in them, so that links are silent until a program sends.
"""

from __future__ import annotations

import ctypes
import importlib.util
import os
import pickle
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from itertools import count
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import pytest

from tests.lab.echo import echo
from tests.programs import cannot_run

CLONE_NEWNET = 0x40000000  # setns(2)
NETNS = Path("/run/netns")
End = tuple[str, str]  # (namespace, interface)

Answer = TypeVar("Answer")
_serial = count(1)


class LabError(Exception):
    """A command of the laboratory failed; the text names the command and its output."""


@cache
def why_not() -> str:
    """Return why a laboratory cannot be built here; empty if it can."""
    if sys.platform != "linux":
        return "network namespaces exist on Linux only"
    if os.geteuid() != 0:
        return "network namespaces need root"
    try:
        subprocess.run(["ip", "-V"], capture_output=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return "the command `ip` (iproute2) is not there"
    made = subprocess.run(["unshare", "--net", "true"], capture_output=True, text=True)
    return f"namespaces are refused here: {made.stderr.strip()}" if made.returncode else ""


@pytest.fixture
def lab() -> Iterator[Lab]:
    """Yield an empty laboratory; if none can be built, skip the test, or let it fail if CI=true."""
    yield from _made()


@pytest.fixture(scope="module")
def module_lab() -> Iterator[Lab]:
    """Yield a laboratory for all tests of a module; the tests must not change it."""
    yield from _made()


def _made() -> Iterator[Lab]:
    if reason := why_not():
        cannot_run(f"no laboratory: {reason}")
    with Lab() as made:
        yield made


class Lab:
    """Namespaces, their cables and their processes. Methods raise LabError if the kernel refuses."""

    def __init__(self, prefix: str = "ncw") -> None:
        self.prefix = prefix
        self._namespaces: list[str] = []
        self._processes: list[subprocess.Popen[bytes]] = []

    def __enter__(self) -> Self:
        _remove_orphans(self.prefix)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the started processes, by id, and remove the namespaces with everything in them."""
        for process in self._processes:
            self.stop(process)
        for name in self._namespaces:
            subprocess.run(["ip", "netns", "del", name], capture_output=True)
        self._processes.clear()
        self._namespaces.clear()

    # Building

    def namespace(self, name: str = "") -> str:
        """Create a namespace with its loopback up and IPv6 off; return its full name, unique on this machine."""
        full = f"{self.prefix}-{os.getpid()}-{next(_serial)}" + (f"-{name}" if name else "")
        _ip("netns", "add", full)
        self._namespaces.append(full)
        self.sysctl(full, {"net.ipv6.conf.all.disable_ipv6": 1, "net.ipv6.conf.default.disable_ipv6": 1})
        self.up(full, "lo")
        return full

    def veth(self, one: End, other: End, *, macs: tuple[str, str] | None = None, up: bool = True) -> None:
        """Join two namespaces by a cable: a veth pair with these MACs, both ends up."""
        _ip("-n", one[0], "link", "add", one[1], "type", "veth", "peer", "name", other[1], "netns", other[0])
        for end, mac in zip((one, other), macs or (), strict=False):
            self.mac(*end, mac)
        if up:
            self.up(*one)
            self.up(*other)

    def bridge(self, namespace: str, name: str, ports: Sequence[str] = ()) -> None:
        """Create a switch with these interfaces as ports; it has no spanning tree and forwards at once."""
        _ip("-n", namespace, "link", "add", name, "type", "bridge", "forward_delay", "0")
        for port in ports:
            _ip("-n", namespace, "link", "set", port, "master", name)
            self.up(namespace, port)
        self.up(namespace, name)

    def address(self, namespace: str, interface: str, *addresses: str) -> None:
        """Add addresses with prefix length, such as 192.0.2.20/24."""
        for address in addresses:
            _ip("-n", namespace, "addr", "add", address, "dev", interface)

    def mac(self, namespace: str, interface: str, mac: str) -> None:
        """Set a MAC, written in any form with hyphens or colons."""
        _ip("-n", namespace, "link", "set", interface, "address", mac.replace("-", ":"))

    def up(self, namespace: str, interface: str) -> None:
        """Set an interface up."""
        _ip("-n", namespace, "link", "set", interface, "up")

    def down(self, namespace: str, interface: str) -> None:
        """Set an interface down; the far end of its cable loses its carrier."""
        _ip("-n", namespace, "link", "set", interface, "down")

    def remove(self, namespace: str, interface: str) -> None:
        """Remove an interface; the far end of a veth pair is removed too."""
        _ip("-n", namespace, "link", "del", interface)

    def sysctl(self, namespace: str, values: dict[str, int | str]) -> None:
        """Set kernel settings in a namespace, for example {"net.ipv4.conf.all.arp_ignore": 1}."""
        with self.inside(namespace):  # /proc/sys/net belongs to the thread's namespace
            for key, value in values.items():
                Path("/proc/sys", *key.split(".")).write_text(f"{value}\n", encoding="ascii")

    def arp_strict(self, namespace: str) -> None:
        """Let each interface answer only for its own address, like controllers (arp_ignore 1, arp_announce 2)."""
        self.sysctl(namespace, {"net.ipv4.conf.all.arp_ignore": 1, "net.ipv4.conf.all.arp_announce": 2})

    def proxy_arp(self, namespace: str, interface: str, on: bool = True) -> None:
        """Let a router answer ARP for every address to which it has a route through another interface."""
        values: dict[str, int | str] = {f"net.ipv4.conf.{interface}.proxy_arp": int(on), "net.ipv4.ip_forward": int(on)}
        self.sysctl(namespace, values)

    def echo_blocked(self, namespace: str, blocked: bool = True) -> None:
        """Let a host ignore echo requests, or answer them again."""
        self.sysctl(namespace, {"net.ipv4.icmp_echo_ignore_all": int(blocked)})

    def reverse_path(self, namespace: str, mode: int) -> None:
        """Set the reverse-path filter of all interfaces: 0 off, 1 strict, 2 loose."""
        self.sysctl(namespace, {"net.ipv4.conf.all.rp_filter": mode, "net.ipv4.conf.default.rp_filter": mode})

    def echo(self, namespace: str, address: str, count: int = 1, wait: float = 1.0, every: float = 0.1) -> int:
        """Send ICMP echo requests from a namespace, like `ping`, and return how many were answered."""
        with self.inside(namespace):
            return echo(address, count, wait, every)

    def start_echo(self, namespace: str, address: str, count: int, every: float = 1.0) -> None:
        """Start to send echo requests from a namespace; they end with the laboratory at the latest."""
        words = [sys.executable, str(Path(__file__).with_name("echo.py")), address, str(count), str(every)]
        self.start(namespace, words, stdout=subprocess.DEVNULL)

    # Running

    def run(self, namespace: str, command: Sequence[str], timeout: float = 60) -> subprocess.CompletedProcess[str]:
        """Run a command in a namespace and return its result, also if it failed."""
        whole = ["ip", "netns", "exec", namespace, *command]
        return subprocess.run(whole, capture_output=True, text=True, timeout=timeout)

    def start(self, namespace: str, command: Sequence[str], **popen: Any) -> subprocess.Popen[bytes]:
        """Start a command in a namespace; it ends when the laboratory closes."""
        process = subprocess.Popen(["ip", "netns", "exec", namespace, *command], **popen)
        self._processes.append(process)
        return process

    def stop(self, process: subprocess.Popen[bytes]) -> None:
        """End one started process by its id, and wait for its end."""
        if process.poll() is None:
            process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream is not None:
                stream.close()

    def call(
        self,
        namespace: str,
        function: Callable[..., Answer],
        *arguments: Any,
        wrapper: Sequence[str] = (),
        timeout: float = 60,
    ) -> Answer:
        """Run a module-level function in a new process in a namespace; raise LabError if it raises.

        The process loads the function's file again, so the function may be in any test module; arguments and result are
        pickled. *wrapper* is a command in front, for example one that removes rights.
        """
        task = pickle.dumps((function.__code__.co_filename, function.__name__, arguments))
        command = ["ip", "netns", "exec", namespace, *wrapper, sys.executable, __file__]
        done = subprocess.run(command, input=task, capture_output=True, timeout=timeout)
        if done.returncode:
            raise LabError(f"{function.__name__} failed inside {namespace}:\n{done.stderr.decode(errors='replace')}")
        answer: Answer = pickle.loads(done.stdout)
        return answer

    @contextmanager
    def inside(self, namespace: str) -> Iterator[None]:
        """Move this thread into the namespace for the block; sockets opened in the block stay in the namespace.

        /proc/net and /sys/class/net still show the first namespace of the process; use `call` or `run` to read them.
        """
        with open("/proc/thread-self/ns/net") as home:
            with open(NETNS / namespace) as there:
                _enter(there.fileno())
            try:
                yield
            finally:
                _enter(home.fileno())


def _ip(*arguments: str) -> None:
    _run(["ip", *arguments])


def _run(command: Sequence[str]) -> None:
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise LabError(f"{' '.join(command)}: {done.stderr.strip() or done.stdout.strip()}")


def _enter(descriptor: int) -> None:
    """Call setns(2) for this thread; Python offers it only from 3.12 on."""
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.setns(descriptor, CLONE_NEWNET):
        raise LabError(f"setns: {os.strerror(ctypes.get_errno())}")


def _remove_orphans(prefix: str) -> None:
    """Remove the namespaces that a killed process left behind; its id is in their names."""
    for path in NETNS.glob(f"{prefix}-*-*"):
        owner = path.name.removeprefix(f"{prefix}-").split("-")[0]
        try:
            old = time.time() - path.stat().st_mtime > 600
        except FileNotFoundError:
            continue  # another laboratory has just removed it
        if owner.isdigit() and old and not Path("/proc", owner).exists():
            subprocess.run(["ip", "netns", "del", path.name], capture_output=True)


def _serve() -> None:
    """Serve `Lab.call` in a namespace: read the task from standard input, write the result to the first output."""
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)  # the function's own output must not mix with the result
        path, name, arguments = pickle.load(sys.stdin.buffer)
        spec = importlib.util.spec_from_file_location(f"inside_{Path(path).stem}", path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = module
        spec.loader.exec_module(module)
        pickle.dump(getattr(module, name)(*arguments), answers)


if __name__ == "__main__":
    _serve()
