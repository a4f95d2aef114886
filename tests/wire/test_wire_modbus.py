"""Read Device Identification: scapy's builders and dissectors, the standard's example, and damaged frames."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scapy.contrib.modbus import (
    ModbusADURequest,
    ModbusADUResponse,
    ModbusObjectId,
    ModbusPDU2B0EReadDeviceIdentificationError,
    ModbusPDU2B0EReadDeviceIdentificationRequest,
    ModbusPDU2B0EReadDeviceIdentificationResponse,
)

from netcheck.wire.modbus import LONGEST, Identity, Refusal, missing, reply_from_wire, request_to_wire

# The worked example of the MODBUS Application Protocol Specification V1.1b3 section 6.21 (section from memory); the
# length of its second text is counted, because the printed length seems to be wrong.
EXAMPLE = (
    bytes.fromhex("0001 0000 0038 01 2b0e 0101 0000 03")
    + b"\x00\x16Company identification"
    + b"\x01\x0fProduct code XX"
    + b"\x02\x05V2.11"
)
SAID = Identity("Company identification", "Product code XX", "V2.11")


def built(transaction: int, objects: list[tuple[int, bytes]], more: bool = False) -> bytes:
    """Return a reply as scapy builds it."""
    pdu = ModbusPDU2B0EReadDeviceIdentificationResponse(readCode=1, more=0xFF if more else 0, objCount=len(objects))
    for number, value in objects:
        pdu = pdu / ModbusObjectId(id=number, value=value)
    return bytes(ModbusADUResponse(transId=transaction, unitId=0xFF) / pdu)


def test_the_example_of_the_standard() -> None:
    """The three texts are read, and after each byte the number of missing bytes is known."""
    assert len(EXAMPLE) == 62
    assert reply_from_wire(EXAMPLE, 1) == SAID
    assert reply_from_wire(EXAMPLE + b"trailing", 1) == SAID
    assert [missing(EXAMPLE[:cut]) for cut in range(7)] == [7, 6, 5, 4, 3, 2, 1]
    assert [missing(EXAMPLE[:cut]) for cut in range(7, 63)] == list(range(55, -1, -1))
    assert all(reply_from_wire(EXAMPLE[:cut], 1) is None for cut in range(len(EXAMPLE)))


@pytest.mark.parametrize("transaction", [0, 1, 0xFFFF])
def test_the_request_is_read_by_scapy_and_built_by_it(transaction: int) -> None:
    """Function 43, MEI 14, basic objects from the first: scapy builds the same bytes, and understands them."""
    pdu = ModbusPDU2B0EReadDeviceIdentificationRequest(readCode=1, objectId=0)
    assert request_to_wire(transaction) == bytes(ModbusADURequest(transId=transaction, unitId=0xFF) / pdu)
    seen = ModbusADURequest(request_to_wire(transaction))
    assert (seen.transId, seen.protoId, seen.len, seen.unitId) == (transaction, 0, 5, 0xFF)
    asked = seen[ModbusPDU2B0EReadDeviceIdentificationRequest]
    assert (asked.funcCode, asked.MEIType, asked.readCode, asked.objectId) == (0x2B, 0x0E, 1, 0)


def test_scapy_reads_the_same_objects() -> None:
    """scapy's dissector finds the same three objects in the example."""
    seen = ModbusADUResponse(EXAMPLE)
    objects = [seen.getlayer(ModbusObjectId, nb).value for nb in range(1, 4)]
    assert objects == [b"Company identification", b"Product code XX", b"V2.11"]


printable = st.binary(max_size=60)


@given(st.integers(0, 0xFFFF), printable, printable, printable, st.booleans())
def test_answers_that_scapy_builds_are_read(
    transaction: int, vendor: bytes, product: bytes, revision: bytes, more: bool
) -> None:
    """Any three texts are read, also with bytes that are not text."""
    said = reply_from_wire(built(transaction, [(0, vendor), (1, product), (2, revision)], more), transaction)
    texts = [text.decode(errors="replace") for text in (vendor, product, revision)]
    assert said == Identity(texts[0], texts[1], texts[2], more=more)


@pytest.mark.parametrize("code", [1, 2, 3, 4])
def test_an_exception_is_a_refusal(code: int) -> None:
    """A device without this function replies with exception 1, which is not a fault."""
    error = ModbusPDU2B0EReadDeviceIdentificationError(exceptCode=code)
    assert reply_from_wire(bytes(ModbusADUResponse(transId=7, unitId=0xFF) / error), 7) == Refusal(code)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        pytest.param(built(1, [(1, b"P"), (0, b"V")]), Identity("V", "P", ""), id="other order, one missing"),
        pytest.param(built(1, [(0, b"V"), (0, b"W"), (0x80, b"x")]), Identity("V", "", ""), id="twice, and private"),
        pytest.param(built(1, []), Identity("", "", ""), id="no objects"),
        pytest.param(built(2, [(0, b"V")]), None, id="another transaction"),
        pytest.param(EXAMPLE[:2] + b"\0\1" + EXAMPLE[4:], None, id="another protocol"),
        pytest.param(EXAMPLE[:7] + b"\x03" + EXAMPLE[8:], None, id="another function"),
        pytest.param(EXAMPLE[:8] + b"\x0d" + EXAMPLE[9:], None, id="another MEI"),
        pytest.param(EXAMPLE[:13] + b"\x04" + EXAMPLE[14:], None, id="counts one too many"),
        pytest.param(EXAMPLE[:13] + b"\xff" + EXAMPLE[14:], None, id="counts 255"),
        pytest.param(EXAMPLE[:15] + b"\xff" + EXAMPLE[16:], None, id="a text longer than all"),
        pytest.param(EXAMPLE[:4] + b"\x00\x02" + EXAMPLE[6:], None, id="length cuts the head off"),
        pytest.param(EXAMPLE[:4] + b"\x00\x00" + EXAMPLE[6:], None, id="length 0"),
        pytest.param(EXAMPLE[:4] + b"\xff\xff" + EXAMPLE[6:], None, id="length beyond the limit"),
        pytest.param(b"HTTP/1.1 400 Bad Request\r\n\r\n", None, id="another protocol altogether"),
    ],
)  # fmt: skip
def test_unusual_replies(data: bytes, said: Identity | None) -> None:
    """An unusual but well-formed reply is read; a malformed reply gives None."""
    assert reply_from_wire(data, 1) == said


@given(st.binary(max_size=300))
def test_random_bytes_are_not_a_reply(noise: bytes) -> None:
    """No bytes raise an error or make the reader wait for more bytes than the longest frame has."""
    assert len(noise) + missing(noise) <= max(LONGEST, len(noise))
    assert reply_from_wire(noise, 1) is None or noise[:4] == b"\0\1\0\0"


@given(st.integers(0, len(EXAMPLE) - 1), st.integers(0, 255))
def test_a_changed_byte_raises_no_error(at: int, value: int) -> None:
    """With one byte changed the example is read or refused, and no text is longer than the frame."""
    said = reply_from_wire(EXAMPLE[:at] + bytes([value]) + EXAMPLE[at + 1 :], 1)
    if isinstance(said, Identity):
        assert len(said.vendor + said.product + said.revision) <= len(EXAMPLE)


def test_the_length_field_counts_the_bytes_after_it() -> None:
    """The header's length counts unit, function and data (Messaging Guide V1.0b, from memory)."""
    assert struct.unpack_from("!H", request_to_wire(1), 4)[0] == len(request_to_wire(1)) - 6
