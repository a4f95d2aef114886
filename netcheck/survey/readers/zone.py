"""Recognises a DNS master file (RFC 1035 section 5); `zone_records` reads it."""

from __future__ import annotations

import re

from netcheck.survey.gathering import Gathering, Source, head_lines

_TYPES = "A|AAAA|PTR|NS|SOA|CNAME|MX|TXT|SRV|MB|MG|MR|HINFO|WKS|CAA|NAPTR|DNSKEY|DS|RRSIG|NSEC|TLSA|SSHFP"
_TTL_OR_CLASS = r"(?:(?:\d[\dA-Z]*|IN|CH|HS)\s+){0,2}"
_ENTRY = re.compile(rf"(?:[^\s,;|]+)?\s+{_TTL_OR_CLASS}(?:{_TYPES})\s+\S", re.IGNORECASE | re.ASCII)
_SURE = re.compile(
    rf"\$(?:ORIGIN|TTL|INCLUDE|GENERATE)\s+\S|(?:[^\s,;|]+)?\s+{_TTL_OR_CLASS}SOA\s", re.IGNORECASE | re.ASCII
)


def recognises(head: bytes) -> bool:
    """Return whether one of the first lines is a directive or an SOA record, or most of them are known records."""
    lines = [line for line in head_lines(head) if not line.lstrip().startswith(";")]
    return any(map(_SURE.match, lines)) or 2 * sum(map(bool, map(_ENTRY.match, lines))) > len(lines)


def read(source: Source, into: Gathering) -> None:
    """Read the zone and the files that it includes; entries that cannot be read become remarks."""
    from netcheck.survey.readers.zone_records import ZoneReader  # imports dnspython, which only zones need

    ZoneReader(source, into).read()
