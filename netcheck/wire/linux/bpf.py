"""The classic BPF program with which the kernel drops all frames that netcheck does not read.

The program passes these frames, untagged or with a priority tag (VLAN 0): all ARP; all LLDP; unfragmented ICMP echo
requests and replies to this computer's MAC; with `overhears` also echo replies to other MACs; and DHCP requests of
other hosts (UDP to port 67, RFC 2131 section 4.1). It drops the frames that this computer sends. Codes are those of
linux/bpf_common.h and linux/filter.h. `wanted` selects the same frames in Python, for links without a filter.
"""

from __future__ import annotations

import struct
from typing import NamedTuple

LONGEST = 2048  # bytes kept of a frame; an Ethernet frame of the usual 1514 bytes fits

LOAD_WORD, LOAD_HALF, LOAD_BYTE = 0x20, 0x28, 0x30  # BPF_LD with BPF_ABS
LOAD_HALF_AFTER, LOAD_BYTE_AFTER = 0x48, 0x50  # with BPF_IND: after the IPv4 header
HEADER_LENGTH = 0xB1  # BPF_LDX, BPF_MSH: index = 4 * (low four bits of a byte)
AND, EQUAL, ANY_BIT, RETURN = 0x54, 0x15, 0x45, 0x06

_ANCILLARY = 0xFFFFF000  # SKF_AD_OFF, -0x1000
PACKET_TYPE, VLAN_TAG, VLAN_PRESENT = _ANCILLARY + 4, _ANCILLARY + 44, _ANCILLARY + 48
OUTGOING = 4  # PACKET_OUTGOING

_INSTRUCTION = struct.Struct("=HBBI")


class Instruction(NamedTuple):
    """An instruction; `yes` and `no` are labels of jump targets, "" for the next instruction."""

    code: int
    k: int
    yes: str = ""
    no: str = ""
    label: str = ""


def _steps(mac: int, overhears: bool) -> tuple[Instruction, ...]:
    """Return the program for an interface with this MAC, with labels for the jumps."""
    return (
        Instruction(LOAD_WORD, PACKET_TYPE),
        Instruction(EQUAL, OUTGOING, "drop"),
        Instruction(LOAD_WORD, VLAN_PRESENT),
        Instruction(EQUAL, 0, "untagged"),
        Instruction(LOAD_WORD, VLAN_TAG),
        Instruction(ANY_BIT, 0x0FFF, "drop"),
        Instruction(LOAD_HALF, 12, label="untagged"),
        Instruction(EQUAL, 0x0806, "pass"),
        Instruction(EQUAL, 0x88CC, "pass"),
        Instruction(EQUAL, 0x0800, "", "drop"),
        Instruction(LOAD_HALF, 20),
        Instruction(ANY_BIT, 0x3FFF, "drop"),  # more fragments follow, or this is not the first fragment
        Instruction(HEADER_LENGTH, 14),
        Instruction(LOAD_BYTE, 23),
        Instruction(EQUAL, 1, "icmp"),
        Instruction(EQUAL, 17, "", "drop"),
        Instruction(LOAD_HALF_AFTER, 16),
        Instruction(EQUAL, 67, "pass", "drop"),
        Instruction(LOAD_BYTE_AFTER, 14, label="icmp"),
        Instruction(EQUAL, 0, "pass" if overhears else "ours"),
        Instruction(EQUAL, 8, "", "drop"),
        Instruction(LOAD_HALF, 0, label="ours"),
        Instruction(EQUAL, mac >> 32, "", "drop"),
        Instruction(LOAD_WORD, 2),
        Instruction(EQUAL, mac & 0xFFFFFFFF, "pass", "drop"),
        Instruction(RETURN, LONGEST, label="pass"),
        Instruction(RETURN, 0, label="drop"),
    )


def program(mac: int, overhears: bool = False) -> bytes:
    """Return the program for an interface with this MAC, as an array of struct sock_filter."""
    return _assembled(_steps(mac, overhears))


def listening_program() -> bytes:
    """Return a program that passes all frames of other computers, untagged or with a priority tag."""
    first = next(at for at, step in enumerate(_steps(0, False)) if step.label == "untagged")
    ends = (Instruction(RETURN, LONGEST, label="untagged"), Instruction(RETURN, 0, label="drop"))
    return _assembled((*_steps(0, False)[:first], *ends))


def _assembled(steps: tuple[Instruction, ...]) -> bytes:
    places = {step.label: at for at, step in enumerate(steps) if step.label}

    def jump(at: int, label: str) -> int:
        return places[label] - at - 1 if label else 0

    return b"".join(
        _INSTRUCTION.pack(step.code, jump(at, step.yes), jump(at, step.no), step.k) for at, step in enumerate(steps)
    )


def wanted(frame: bytes, mac: int) -> bool:
    """Return whether the program for this MAC passes a frame, by the bytes of the frame alone."""
    kind = frame[12:14]
    if kind in (b"\x08\x06", b"\x88\xcc"):
        return True
    if kind != b"\x08\x00" or len(frame) < 24 or int.from_bytes(frame[20:22], "big") & 0x3FFF:
        return False
    transport = 14 + (frame[14] & 15) * 4
    if frame[23] == 17:
        return frame[transport + 2 : transport + 4] == b"\x00\x43"
    return (
        frame[23] == 1
        and frame[transport : transport + 1] in (b"\x00", b"\x08")
        and frame[:6] == mac.to_bytes(6, "big")
    )
