"""Reads the requests that IT granted or refused, and decides what each answer changes in the plan.

`netcheck report PLAN --requests FILE.csv` writes the file; IT fills in the columns granted, refused, ticket, by and
date.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from netcheck.addr import Address
from netcheck.answers.apply import Flaw
from netcheck.answers.read import FilledRow, RowRefused, Table, rows_from
from netcheck.answers.table import PLAN_COLUMN
from netcheck.plan.model import SITE, GrantedRequest, Plan, Position
from netcheck.requests.build import identity_of
from netcheck.requests.model import Request, RequestKind
from netcheck.survey.readers.values import date_from
from netcheck.text import safe

TO_ANSWER = ("granted", "refused", "ticket", "by", "date")
IDENTITY = ("kind", "subject", "island", "address", "what")  # the columns of `requests.build.identity_of`
REQUESTS = Table(
    (*IDENTITY, *TO_ANSWER, PLAN_COLUMN),
    (frozenset({"kind", "subject", "granted", "refused"}),),
    "kind, subject, granted and refused",
    "`netcheck report PLAN --requests FILE.csv`",
    other="key",
)
LONGEST = 200  # characters of the text in the key `granted`
_ON_DAY = re.compile(r" on \d{4}-\d\d-\d\d")
_NO = frozenset({"no", "n", "-", "0", "false"})
# A cell of a CSV plan is written without quotes, so it must contain no delimiter.
_DELIMITERS = str.maketrans(dict.fromkeys(',;|"\t', " "))


@dataclass(frozen=True, slots=True)
class AnsweredRequest:
    """One request with its answer: who answered, when, and under which ticket."""

    row: int
    request: Request
    by: str
    day: date
    ticket: str = ""

    @property
    def text(self) -> str:
        """Return the answer in words, in a form that a cell of a CSV plan can hold without quotes."""
        words = f"by {self.by} on {self.day}" + (f" ticket {self.ticket}" if self.ticket else "")
        return safe(" ".join(words.translate(_DELIMITERS).split()), LONGEST)

    def to_grant(self) -> GrantedRequest:
        """Return the answer as an entry of the plan."""
        request = self.request
        return GrantedRequest(
            kind=str(request.kind),
            subject=request.subject,
            by=self.by,
            position=Position("", f"row {self.row}"),
            island=request.island,
            address=request.address,
            what=request.what,
            ticket=self.ticket,
            decided=self.day,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Grants:
    """The meaning of a file of answered requests.

    `granted` and `addresses` go into the plan, by subject. `granted` is the grant of an interface's own address;
    `addresses` has the proposed addresses that IT granted. `noted` are all other granted requests, and `entries` are
    those of them that the plan does not have yet. `gone` counts answered rows whose request no longer exists.
    `unanswered` counts the requests that are neither answered nor granted.
    """

    granted: dict[str, str]
    addresses: dict[str, Address]
    noted: tuple[AnsweredRequest, ...]
    entries: tuple[GrantedRequest, ...]
    refused: tuple[AnsweredRequest, ...]
    flaws: tuple[Flaw, ...]
    unanswered: int
    gone: int

    @property
    def answered(self) -> bool:
        """Return whether any row is answered."""
        return bool(self.granted or self.noted or self.refused or self.flaws or self.gone)


def grants_from(path: Path) -> tuple[FilledRow, ...]:
    """Return the rows of a file of requests; raise ReportError if it has no such rows."""
    return rows_from(path, REQUESTS)


def is_answered(row: FilledRow) -> bool:
    """Return whether a request is marked as granted or refused."""
    return any(_ticks(row))


def judged_grants(
    plan: Plan, requests: Sequence[Request], rows: Sequence[FilledRow], today: date, by: str = ""
) -> Grants:
    """Return the outcome of all rows; *by* names who decided if a row does not name anybody."""
    known = {identity_of(one): one for one in requests}
    held = {identity_of(one): one for one in plan.granted}
    granted: dict[str, str] = {}
    addresses: dict[str, Address] = {}
    noted, refused, flaws, entries = [], [], [], []
    answered: set[tuple[str, ...]] = set()
    gone = 0
    for row in rows:
        yes, no = _ticks(row)
        if not (yes or no or row.fault):
            continue
        cells = {"island": SITE, **row.cells}  # a workbook of a plan with one island has no such column
        identity = tuple(" ".join(cells.get(title, "").split()) for title in IDENTITY)
        request = known.get(identity)
        if request is None:
            gone += 1
            continue
        answered.add(identity)
        try:
            one = _answered(row, request, today, by, yes=yes, no=no)
        except (RowRefused, ValueError) as error:
            flaws.append(Flaw(row.row, str(error)))
            continue
        if no:
            refused.append(one)
        elif (address := _own_address(plan, request)) is not None:
            interface = plan.interface_named[request.subject]
            same = interface.granted if not row.cells.get("date") and _same_grant(interface.granted, one.text) else ""
            granted[request.subject] = same or one.text
            if interface.address is None or interface.address.value != address:
                addresses[request.subject] = address
        else:
            noted.append(one)
            entries += [one.to_grant()] if _is_new(one, held.get(identity), row) else []
    return Grants(
        granted=granted,
        addresses=addresses,
        noted=tuple(noted),
        entries=tuple(entries),
        refused=tuple(refused),
        flaws=tuple(flaws),
        unanswered=sum(not one.granted for identity, one in known.items() if identity not in answered),
        gone=gone,
    )


def _is_new(one: AnsweredRequest, held: GrantedRequest | None, row: FilledRow) -> bool:
    """Return whether the plan has no such grant, or a different one; the day is compared only if the row names it."""
    if held is None or (held.by, held.ticket) != (one.by, one.ticket):
        return True
    return bool(row.cells.get("date")) and held.decided != one.day


def _own_address(plan: Plan, request: Request) -> Address | None:
    """Return the requested address if it is, or replaces, the interface's own address; None for any other request."""
    interface = plan.interface_named.get(request.subject)
    if request.kind is not RequestKind.RESERVATION or interface is None or not request.address:
        return None
    address = Address.from_text(request.address)
    held = interface.address.value if interface.address else None
    return address if address.family == 4 or held == address else None


def _same_grant(held: str, said: str) -> bool:
    """Return whether two grants are equal, or differ only in a day that the row does not name."""
    return _ON_DAY.sub("", held) == _ON_DAY.sub("", said)


def _ticks(row: FilledRow) -> tuple[bool, bool]:
    """Return whether a request is marked as granted, and whether it is marked as refused."""
    return _ticked(row.cells.get("granted", "")), _ticked(row.cells.get("refused", ""))


def _ticked(text: str) -> bool:
    return bool(text) and text.casefold() not in _NO


def _answered(row: FilledRow, request: Request, today: date, by: str, *, yes: bool, no: bool) -> AnsweredRequest:
    """Return who answered, when and under which ticket; raise RowRefused if the row cannot be used."""
    if row.fault:
        raise RowRefused(row.fault)
    if yes and no:
        raise RowRefused("the request is granted and refused. Clear one of the two cells")
    who = _plain(row.cells.get("by", "") or by)
    if not who:
        raise RowRefused("the column by is empty. Write there who decided, or give --by NAME for all rows")
    day = date_from(row.cells.get("date", "")) or today
    return AnsweredRequest(row.row, request, who, day, _plain(row.cells.get("ticket", "")))


def _plain(text: str) -> str:
    return safe(" ".join(text.split()), LONGEST)
