"""Tests of the chain: canonical form, hashes, and every fault of a line.

The hash is recomputed here from the published parts alone: SHA-256 (FIPS 180-4, by hashlib) over JSON (RFC 8259, by the
standard library's json) with sorted keys, the separators `,` and `:`, UTF-8 and no ASCII escaping.
"""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.record.chain import GENESIS, LineKind, canonical, from_line, moment_text, to_line

AT = "2026-11-02T09:14:03.120Z"
START = {"n": 0, "type": "start", "at": AT, "prev": "0" * 64, "plan": {"name": "Käserei"}}
# Text without lone surrogates, which JSON text in UTF-8 cannot hold (RFC 8259 section 8.2).
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
SCALAR = st.none() | st.booleans() | st.integers(-(10**30), 10**30) | st.floats(allow_nan=False, allow_infinity=False)
VALUE = st.recursive(
    SCALAR | TEXT, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3), max_leaves=8
)


def dumped(shape: dict[str, Any]) -> bytes:
    """Return the canonical form, independently of the code under test."""
    return json.dumps(shape, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode("utf-8")


def sealed(shape: dict[str, Any]) -> bytes:
    """Return a stored line with its hash, independently of the code under test."""
    return dumped({**shape, "hash": hashlib.sha256(dumped(shape)).hexdigest()})


def test_every_line_of_a_record_has_the_hash_of_the_line_before(finished: Path) -> None:
    """Read with json and hashlib alone, a record is a chain from 64 zeros to its last line."""
    prev = "0" * 64
    for n, raw in enumerate(finished.read_bytes().splitlines()):
        shape = json.loads(raw)
        own = shape.pop("hash")
        assert (shape["n"], shape["prev"]) == (n, prev)
        assert own == hashlib.sha256(dumped(shape)).hexdigest()
        assert raw == dumped({**shape, "hash": own})
        prev = own
    assert n == 4


def test_a_line_with_known_hash() -> None:
    """The bytes of a line never change; the digest comes from the system's sha256sum."""
    line, own = to_line(0, LineKind.START, AT, {"plan": {"name": "Käserei"}}, GENESIS)
    assert own == "50d5aa470ff4d539c6da6fad87d9f4921da5f00cf5697d857ab7cae092476918"
    assert line == sealed(START) + b"\n"


@given(st.dictionaries(TEXT.filter(lambda key: key not in ("n", "type", "at", "prev", "hash")), VALUE, max_size=4))
def test_written_lines_are_read_back(fields: dict[str, Any]) -> None:
    """Any fields that JSON can represent are read back unchanged."""
    line, own = to_line(3, LineKind.EVENT, AT, fields, "ab" * 32)
    read = from_line(line.removesuffix(b"\n"), 3, "ab" * 32)
    assert (read.n, read.kind, read.at, read.hash) == (3, LineKind.EVENT, AT, own)
    assert canonical(read.fields) == canonical(fields)


def test_lone_surrogates_are_written_as_their_escape() -> None:
    """An argument that is not UTF-8 is recorded as readable text."""
    line, _ = to_line(0, LineKind.START, AT, {"permit": "order \udcff", "list": [("\ud800",)]}, GENESIS)
    fields = from_line(line.removesuffix(b"\n"), 0, GENESIS).fields
    assert fields == {"permit": "order \\udcff", "list": [["\\ud800"]]}


def test_times_are_utc_with_milliseconds() -> None:
    """RFC 3339 section 5.6 with the zone Z; further digits are cut off, not rounded."""
    zone = timezone(timedelta(hours=2))
    assert moment_text(datetime(2026, 11, 2, 1, 14, 3, 999_999, tzinfo=zone)) == "2026-11-01T23:14:03.999Z"
    assert moment_text(datetime(2026, 11, 2, tzinfo=UTC)) == "2026-11-02T00:00:00.000Z"
    with pytest.raises(ValueError, match="without a time zone"):
        moment_text(datetime(2026, 11, 2))


def changed(**changes: object) -> bytes:
    """Return the start line with other values and a matching hash."""
    return sealed({**START, **changes})


REFUSED = [
    pytest.param(b"", "blank", id="empty"),
    pytest.param(b" \t", "blank", id="blank"),
    pytest.param(b"\xef\xbb\xbf" + sealed(START), "byte order mark", id="bom"),
    pytest.param(sealed(START) + b"\r", "canonical", id="carriage-return"),
    pytest.param(sealed(START) + b" ", "canonical", id="trailing-space"),
    pytest.param(sealed(START).replace(b'"n":0', b'"n": 0'), "canonical", id="space-inside"),
    pytest.param(sealed(START).replace("ä".encode(), b"\\u00e4"), "canonical", id="escaped"),
    pytest.param(sealed(START).replace(b'"n":0', b'"n":0,"n":0'), "twice", id="duplicate-key"),
    pytest.param(sealed(START).replace(b'"name":', b'"name":1,"name":'), "twice", id="duplicate-inside"),
    pytest.param(sealed(START).replace(b'"n":0', b'"n":NaN'), "NaN", id="nan"),
    pytest.param(sealed(START).replace(b'"n":0', b'"n":-Infinity'), "-Infinity", id="infinity"),
    pytest.param(sealed(START).replace(b'"n":0', b'"n":1e999'), "not finite", id="overflow"),
    pytest.param(sealed(START).replace(b'"n":0', b'"n":-0'), "canonical", id="minus-zero"),
    pytest.param(sealed(START).replace(b'"n":0', b'"n":' + b"9" * 5000), "5000 digits", id="huge-integer"),
    pytest.param(b'{"name":"\\ud800"}', "surrogate", id="lone-surrogate"),
    pytest.param(b'{"name":"\xed\xa0\x80"}', "byte 10 of it is not UTF-8", id="surrogate-bytes"),
    pytest.param(b"[" * 200_000, "nested", id="nested"),
    pytest.param(b'{"a":' * 200_000, "nested", id="nested-objects"),
    pytest.param(b"[]", "object", id="array"),
    pytest.param(b'"start"', "object", id="string"),
    pytest.param(b"{", "not JSON", id="open-brace"),
    pytest.param(dumped(START), "no `hash`", id="no-hash"),
    pytest.param(dumped({**START, "hash": "AB" * 32}), "no `hash`", id="hash-in-capitals"),
    pytest.param(dumped({**START, "hash": "ab" * 32}), "changed after", id="wrong-hash"),
    pytest.param(sealed(START).replace("ä".encode(), b"a"), "changed after", id="changed-name"),
    pytest.param(changed(n=1), "number `n` is 1, expected 0", id="wrong-number"),
    pytest.param(changed(n=False), "number `n` is False", id="false-for-zero"),
    pytest.param(changed(n=0.0), "number `n` is 0.0", id="float-for-zero"),
    pytest.param(changed(prev="0" * 63), "`prev`", id="wrong-prev"),
    pytest.param(changed(prev=None), "`prev`", id="no-prev"),
    pytest.param(changed(type="begin"), "`type` is 'begin'", id="unknown-type"),
    pytest.param(changed(type=["start"]), "`type` is a list", id="type-no-text"),
    pytest.param(changed(type="proof"), "`start`", id="no-start"),
    pytest.param(changed(at="2026-02-30T09:14:03.120Z"), "`at`", id="no-such-day"),
    pytest.param(changed(at="2026-11-02T09:14:60.120Z"), "`at`", id="second-60"),
    pytest.param(changed(at="2026-11-02T09:14:03Z"), "`at`", id="no-milliseconds"),
    pytest.param(changed(at="2026-11-02T09:14:03.120+00:00"), "`at`", id="zone-in-numbers"),
    pytest.param(changed(at="２026-11-02T09:14:03.120Z"), "`at`", id="wide-digit"),
    pytest.param(changed(at=1793610843), "`at` is 1793610843", id="seconds"),
]


@pytest.mark.parametrize(("raw", "reason"), REFUSED)
def test_a_line_that_does_not_fit(raw: bytes, reason: str) -> None:
    """Each fault gives its own reason."""
    with pytest.raises(ValueError, match=reason.replace("`", "[`]")):
        from_line(raw, 0, GENESIS)


def test_a_second_start_does_not_fit() -> None:
    """Only the first line may be a `start`."""
    with pytest.raises(ValueError, match="exactly one"):
        from_line(changed(n=1), 1, GENESIS)


def test_the_unchanged_line_fits() -> None:
    """The line from which the invalid lines above were made is valid."""
    assert from_line(sealed(START), 0, GENESIS).fields == {"plan": {"name": "Käserei"}}
