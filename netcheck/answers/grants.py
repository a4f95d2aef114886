"""Reads the requests that IT granted or refused, and decides what each means for the plan.

The file is the one of `netcheck report PLAN --requests FILE.csv`, with the columns granted, refused, ticket, by and
date filled in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from netcheck.addr import Address
from netcheck.answers.apply import Flaw
from netcheck.answers.read import FilledRow, Table, rows_from
from netcheck.plan.model import Plan
from netcheck.requests.model import Request, RequestKind
from netcheck.survey.readers.values import date_from
from netcheck.text import safe

TO_ANSWER = ("granted", "refused", "ticket", "by", "date")
_IDENTITY = ("kind", "subject", "island", "address", "what")
REQUESTS = Table(
    (*_IDENTITY, *TO_ANSWER),
    (frozenset({"kind", "subject", "granted", "refused"}),),
    "kind, subject, granted and refused",
    "`netcheck report PLAN --requests FILE.csv`",
)
LONGEST = 200  # characters of what is written under `granted`
_NO = frozenset({"no", "n", "-", "0", "false"})
# A cell of a CSV plan is written without quotes, so that it holds none of its delimiters.
_DELIMITERS = str.maketrans(dict.fromkeys(',;|"\t', " "))


@dataclass(frozen=True, slots=True)
class AnsweredRequest:
    """One request with its answer; `text` names who, when and under which ticket."""

    row: int
    request: Request
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Grants:
    """The meaning of a file of answered requests.

    `granted` and `addresses` go into the plan, by subject: the second where IT granted the proposed address. `noted`
    are granted requests of kinds that the plan does not store. `gone` counts answered rows whose request no longer
    exists.
    """

    granted: dict[str, str]
    addresses: dict[str, Address]
    noted: tuple[AnsweredRequest, ...]
    refused: tuple[AnsweredRequest, ...]
    flaws: tuple[Flaw, ...]
    unanswered: int
    gone: int


class _Refused(Exception):
    """Why a row cannot be applied."""


def grants_from(path: Path) -> tuple[FilledRow, ...]:
    """Return the rows of a file of requests; ReportError where it holds none."""
    return rows_from(path, REQUESTS)


def judged_grants(
    plan: Plan, requests: Sequence[Request], rows: Sequence[FilledRow], today: date, by: str = ""
) -> Grants:
    """Return the meaning of every row; *by* is who decided where a row does not say it."""
    known = {_identity(one.kind, one.subject, one.island, one.address, one.what): one for one in requests}
    granted: dict[str, str] = {}
    addresses: dict[str, Address] = {}
    noted, refused, flaws = [], [], []
    answered: set[tuple[str, ...]] = set()
    gone = 0
    for row in rows:
        yes, no = _ticked(row.cells.get("granted", "")), _ticked(row.cells.get("refused", ""))
        if not (yes or no or row.fault):
            continue
        identity = _identity(*(row.cells.get(title, "") for title in _IDENTITY))
        request = known.get(identity)
        if request is None:
            gone += 1
            continue
        answered.add(identity)
        try:
            one = AnsweredRequest(row.row, request, _text(row, today, by, yes=yes, no=no))
        except (_Refused, ValueError) as error:
            flaws.append(Flaw(row.row, str(error)))
            continue
        if no:
            refused.append(one)
        elif request.kind is RequestKind.RESERVATION and request.subject in plan.interface_named and request.address:
            granted[request.subject] = one.text
            cell = plan.interface_named[request.subject].address
            address = Address.from_text(request.address)
            if address.family == 4 and (cell is None or cell.value != address):
                addresses[request.subject] = address
        else:
            noted.append(one)
    return Grants(
        granted=granted,
        addresses=addresses,
        noted=tuple(noted),
        refused=tuple(refused),
        flaws=tuple(flaws),
        unanswered=len(known.keys() - answered),
        gone=gone,
    )


def _identity(*values: str) -> tuple[str, ...]:
    return tuple(" ".join(str(value).split()) for value in values)


def _ticked(text: str) -> bool:
    return bool(text) and text.casefold() not in _NO


def _text(row: FilledRow, today: date, by: str, *, yes: bool, no: bool) -> str:
    """Return who answered, when and under which ticket."""
    if row.fault:
        raise _Refused(row.fault)
    if yes and no:
        raise _Refused("it is granted and refused. Leave one of them")
    who = row.cells.get("by", "") or by
    if not who:
        raise _Refused("nobody is named in the column by. Write who decided there, or give --by NAME for all rows")
    day = date_from(row.cells.get("date", "")) or today
    ticket = f" ticket {row.cells['ticket']}" if row.cells.get("ticket") else ""
    words = " ".join(f"by {who} on {day}{ticket}".translate(_DELIMITERS).split())
    return safe(words, LONGEST)
