"""Sends ICMP echo requests with the system's own IP stack, so that no test needs the program `ping`.

As a script, `echo.py ADDRESS COUNT EVERY` sends COUNT requests, one every EVERY seconds, and prints the number of
replies.
"""

from __future__ import annotations

import os
import socket
import struct
import sys
import time

_REPLY, _REQUEST = 0, 8  # RFC 792


def echo(address: str, count: int = 1, wait: float = 1.0, every: float = 0.1) -> int:
    """Send *count* echo requests, *every* seconds apart, and return the number of replies within *wait* seconds each.

    The requests leave from the present network namespace. Needs root.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_RAW, socket.IPPROTO_ICMP) as icmp:
        identifier = os.urandom(2)
        return sum(_answered(icmp, address, identifier, number, wait, every) for number in range(count))


def _answered(icmp: socket.socket, address: str, identifier: bytes, number: int, wait: float, every: float) -> bool:
    begin = time.monotonic()
    try:
        icmp.sendto(_request(identifier, number), (address, 0))
    except OSError:  # no carrier, or the address is known to be unreachable
        time.sleep(every)
        return False
    answered = False
    while not answered and (left := begin + wait - time.monotonic()) > 0:
        icmp.settimeout(left)
        try:
            packet, (sender, _) = icmp.recvfrom(2048)
        except TimeoutError:
            break
        said = packet[(packet[0] & 15) * 4 :]
        answered = sender == address and said[:1] == bytes([_REPLY]) and said[4:8] == identifier + number.to_bytes(2)
    time.sleep(max(0.0, begin + every - time.monotonic()))
    return answered


def _request(identifier: bytes, number: int) -> bytes:
    """Return a request; its checksum makes the ones' complement sum of all words 0xFFFF (RFC 1071)."""
    body = bytes([_REQUEST, 0, 0, 0]) + identifier + number.to_bytes(2)
    total = sum(struct.unpack("!4H", body))
    checksum: int = 0xFFFF - ((total & 0xFFFF) + (total >> 16))
    return body[:2] + checksum.to_bytes(2) + body[4:]


if __name__ == "__main__":
    print(echo(sys.argv[1], int(sys.argv[2]), every=float(sys.argv[3])))
