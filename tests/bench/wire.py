"""Measures how fast the raw link is, in ratio to a reference: `python tests/bench/wire.py [ROUNDS]`, as root.

Everything runs in one go in network namespaces, each thing right after the one it is compared with, and medians of the
rounds are shown with their ratio, which does not depend on the speed of the machine.
"""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[2]))


from netcheck.field.sweep import sweep
from netcheck.wire.frames import ECHO_REQUEST, Echo, arp_request, echo_from_wire, echo_to_wire, padded
from netcheck.wire.link import Heard
from netcheck.wire.links.raw import RawLink, open_raw
from tests.bench.results import publish, rounds
from tests.lab.netns import Lab, why_not
from tests.lab.responder import respond

STATION, STATION_IP = 0x00005E005301, 0xC6120001  # 198.18.0.0/15 is for benchmarks: RFC 2544
NET, SIZE, ALIVE = 0xC6120000, 1022, 256
TARGETS = [NET + number for number in range(2, SIZE + 2)]
WAIT = 1.0
ECHOES = 200
Row = tuple[str, str, str, str, str]


@contextmanager
def cable(lab: Lab) -> Iterator[tuple[str, str]]:
    """A station and, at the other end of its cable, a place for devices."""
    station, far = lab.namespace("station"), lab.namespace("far")
    lab.veth((station, "eth0"), (far, "eth0"), macs=("00-00-5E-00-53-01", "02-00-00-00-00-FE"))
    lab.address(station, "eth0", "198.18.0.1/22")
    yield station, far


def timed(work: Callable[[], int]) -> tuple[float, float, int]:
    """Seconds, seconds of processor, and what the work returned."""
    begin, cpu = time.perf_counter(), time.process_time()
    answer = work()
    return time.perf_counter() - begin, time.process_time() - cpu, answer


def by_sweep(link: RawLink) -> int:
    """Count of addresses found by our sweep at full speed."""
    return len(sweep(link, TARGETS, WAIT, STATION_IP))


def by_scapy() -> int:
    """The same by scapy's `srp`."""
    from scapy.config import conf
    from scapy.layers.l2 import ARP, Ether
    from scapy.sendrecv import srp

    conf.ifaces.reload()
    asked = Ether(src="00:00:5e:00:53:01", dst="ff:ff:ff:ff:ff:ff") / ARP(
        hwsrc="00:00:5e:00:53:01", psrc="198.18.0.1", pdst="198.18.0.0/22"
    )
    answered, _ = srp(asked, timeout=WAIT, iface="eth0", verbose=0)
    return len({answer.answer[ARP].psrc for answer in answered})


def plain_sends(link: RawLink) -> int:
    """Nothing but the sending of as many ready frames on the same socket, to addresses where nobody is."""
    frame = padded(arp_request(STATION, STATION_IP, 0xC6130001))
    for _ in range(SIZE):
        link._sockets[0].send(frame)
    return SIZE


def sweeps(lab: Lab, rounds: int) -> list[Row]:
    """A /22, a quarter of it alive: our sweep, the least it could take, and scapy."""
    with cable(lab) as (station, far):
        # every fourth address, each with its own MAC, and more than any neighbour table of the kernel's holds
        hosts = [
            {"address": f"198.18.{number * 4 >> 8}.{number * 4 & 255 | 2}", "mac": f"00-00-5E-00-53-{number:02X}"}
            for number in range(2, ALIVE)
        ]
        respond(lab, far, "eth0", *hosts, lifetime=600)
        with lab.inside(station), open_raw("eth0") as link:
            ours, least, scapy = [], [], []
            found: dict[str, set[int]] = {"ours": set(), "scapy": set()}
            for _ in range(rounds):
                seconds, _, count = timed(lambda: by_sweep(link))
                ours.append(seconds)
                found["ours"].add(count)
                least.append(WAIT + timed(lambda: plain_sends(link))[0])
                link.receive(0)
                seconds, _, other = timed(by_scapy)
                scapy.append(seconds)
                found["scapy"].add(other)
    mine, best, theirs = median(ours), median(least), median(scapy)
    whole = "ok" if found["ours"] == {len(hosts)} else "MISSED"
    shown = {name: ", ".join(map(str, sorted(counts))) for name, counts in found.items()}
    return [
        (f"sweep of a /22: found of {len(hosts)}", shown["ours"], f"{shown['scapy']} (srp)", "", whole),
        ("sweep against wait + plain sends", f"{mine:.3f} s", f"{best:.3f} s", *judged(mine / best, most=1.05)),
        ("sweep against scapy's srp", f"{mine:.3f} s", f"{theirs:.3f} s", *judged(theirs / mine, least=3)),
    ]


def flooded(lab: Lab, kind: str) -> Row:
    """The same sweep among 20,000 foreign broadcasts a second."""
    with cable(lab) as (station, far):
        respond(lab, far, "eth0", {"address": "198.18.1.2", "mac": "00-00-5E-00-53-02", "count": 250}, lifetime=600)
        respond(lab, far, "eth0", flood={"a_second": 20_000, "kind": kind}, lifetime=600)
        with lab.inside(station), open_raw("eth0") as link:
            time.sleep(0.5)
            before = received(lab, station)
            begin = time.perf_counter()
            _, cpu, found = timed(lambda: by_sweep(link))
            rate = (received(lab, station) - before) / (time.perf_counter() - begin)
    verdict = "ok" if found == 250 else "MISSED"
    return f"sweep among {rate:,.0f} {kind} broadcasts/s", f"{found} found", "250 alive", f"cpu {cpu:.2f} s", verdict


def received(lab: Lab, station: str) -> int:
    """Frames that the station's interface has received so far."""
    return int(lab.run(station, ["cat", "/sys/class/net/eth0/statistics/rx_packets"]).stdout)


def our_echoes(link: RawLink, device: int) -> float:
    """Median round trip of echoes every 10 ms, in seconds."""
    trips = []
    for sequence in range(ECHOES):
        frame = echo_to_wire(Echo(device, STATION, STATION_IP, NET + 20, 64, ECHO_REQUEST, 7, sequence, bytes(56)))
        sent = link.send(frame)
        assert sent is not None
        while link.now() < sent + 0.01:
            for news in link.receive(sent + 0.01):
                if isinstance(news, Heard) and (echo := echo_from_wire(news.frame)) and echo.sequence == sequence:
                    trips.append(news.at - sent)
    return median(trips)


def pinged(lab: Lab, station: str) -> float:
    """The same by the system's ping."""
    said = lab.run(station, ["ping", "-n", "-i", "0.01", "-c", str(ECHOES), "198.18.0.20"]).stdout
    return median(float(figure) for figure in re.findall(r"time=([0-9.]+)", said)) / 1000


def round_trips(lab: Lab, rounds: int) -> Row:
    """Echo to one host of the kernel's, by turns with the system's ping.

    Ours may well be the shorter: a packet socket goes past the kernel's routing and neighbour tables.
    """
    with cable(lab) as (station, far):
        lab.address(far, "eth0", "198.18.0.20/22")
        with lab.inside(station), open_raw("eth0") as link:
            pairs = [(our_echoes(link, 0x0200000000FE), pinged(lab, station)) for _ in range(2 * rounds)]
    ours, theirs = median(mine for mine, _ in pairs), median(other for _, other in pairs)
    ratio = median(mine / other for mine, other in pairs)
    shown = judged(ratio, most=1.1)
    return "median round trip against ping", f"{ours * 1e6:.1f} us", f"{theirs * 1e6:.1f} us", *shown


def judged(ratio: float, least: float = 0.0, most: float = float("inf")) -> tuple[str, str]:
    """A ratio and whether it is where it should be."""
    return f"{ratio:.3f}", "ok" if least <= ratio <= most else f"MISSED ({least or most})"


def main() -> int:
    """Measure all and print one table; 1 where a target is missed."""
    if reason := why_not():
        print(f"cannot measure here: {reason}", file=sys.stderr)
        return 2
    with Lab() as lab:
        rows = [*sweeps(lab, rounds(5)), flooded(lab, "arp"), flooded(lab, "udp"), round_trips(lab, rounds(5))]
    publish("Wire", ["what", "netcheck", "other", "ratio", "target"], rows)
    return any(row[-1].startswith("MISSED") for row in rows)


if __name__ == "__main__":
    sys.exit(main())
