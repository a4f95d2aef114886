"""Turns everything in a report except its findings into titled tables for text, Markdown and the workbook.

A table names its columns by key; `words.TITLES` has the title of each key, so that all formats use the same words. The
column `island` is left out if the plan has no island in addition to the site.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from netcheck.addr import Address, mac_text
from netcheck.plan.model import SITE, Plan
from netcheck.report.changes import Changed, Changes
from netcheck.report.finding_groups import numbers_of
from netcheck.report.model import Evidence, PortResult, Report, short
from netcheck.report.text.proofs import marked
from netcheck.report.words import hash_recipe, moment, titles_of
from netcheck.requests.build import asked_of, switch_and_port
from netcheck.requests.model import Asked, Request, RequestKind
from netcheck.rules.accept import remarks_on
from netcheck.rules.finding import AcceptedFinding, Finding
from netcheck.text import listed

DHCP_HOSTS, TALKS, SWITCH_PORTS = (
    "Host reservations for DHCP servers", "Conversations to let through", "Switch ports and VLANs to set",
)  # fmt: skip
SAID_COLUMNS = (
    "number", "subject", "address", "rule", "decision", "change-to", "remark", "by", "date", "reply", "state",
)  # fmt: skip
MOST = 50  # names in one cell; the others are counted


class Part(NamedTuple):
    """A titled table, or lines to be copied verbatim; both may be empty. `none` is the text of an empty part."""

    title: str
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    lines: tuple[str, ...] = ()
    none: str = "None."
    counted: bool = True

    @property
    def headers(self) -> tuple[str, ...]:
        """Return the titles of the columns."""
        return titles_of(self.columns)

    @property
    def size(self) -> int:
        """Return the number of rows or lines."""
        return len(self.rows) + len(self.lines)

    @property
    def number(self) -> str:
        """Return the number of rows in the form that follows the title; empty for lines that are not counted."""
        return f" ({self.size})" if self.counted else ""


def _table(plan: Plan, title: str, columns: tuple[str, ...], rows: Iterable[tuple[str, ...]], none: str = "") -> Part:
    """Return a part; the column `island` is removed if every row is of the site's island."""
    several = any(subnet.island != SITE for subnet in plan.subnets)
    if "island" in columns and not several:
        at = columns.index("island")
        columns = columns[:at] + columns[at + 1 :]
        rows = (row[:at] + row[at + 1 :] for row in rows)
    return Part(title, columns, tuple(rows), none=none or "None.")


def asked_parts(report: Report) -> Iterator[Part]:
    """Yield reservations, DHCP host reservations, pools, DNS records, conversations and switch ports."""
    plan, asked = report.plan, asked_of(report.checked)
    yield _table(
        plan,
        "Addresses to reserve",
        ("interface", "island", "address", "mac", "host-name", "subnet", "vlan", "switch-port", "note"),
        (
            (*_place(one), one.address, one.mac, one.host_name, one.subnet, one.vlan, one.switch_port, one.note)
            for one in asked.of(RequestKind.RESERVATION)
        ),
    )
    yield _dhcp_hosts(plan, asked)
    yield _table(
        plan,
        "DHCP pools to change",
        ("interfaces-inside", "island", "subnet", "addresses", "change", "note"),
        ((*_place(one), one.subnet, one.address, one.what, one.note) for one in asked.of(RequestKind.POOL)),
    )
    if not asked.zones:
        yield Part("DNS records")
    for zone in asked.zones:
        yield Part(f"DNS records, {zone.title[:1].lower()}{zone.title[1:]}", lines=tuple(zone.text.splitlines()))
    yield _table(
        plan,
        TALKS,
        ("from", "island", "from-address", "subnet", "to", "to-address", "protocol", "port", "opened-by", "note"),
        (
            (*_place(one), one.address, one.subnet, one.to, one.to_address, one.protocol or "any", one.port or "any",
             one.opened_by, one.note)
            for one in asked.of(RequestKind.CONVERSATION)
        ),
    )  # fmt: skip
    yield _switch_ports(plan, asked)


def _place(one: Request) -> tuple[str, str]:
    return one.subject, one.island


def _dhcp_hosts(plan: Plan, asked: Asked) -> Part:
    """Return the MAC, address and name of each reservation with a MAC, by subnet and address, for a DHCP server."""
    order = {subnet.name: place for place, subnet in enumerate(plan.subnets)}
    hosts = [one for one in asked.of(RequestKind.RESERVATION) if one.mac and one.subject in plan.interface_named]
    hosts.sort(key=lambda one: (order.get(one.subnet, len(order)), _value(one.address)))
    rows = (
        (one.subnet, one.island, one.address or "to be chosen", one.mac, one.host_name, one.subject, _set_by(plan, one))
        for one in hosts
    )
    columns = ("subnet", "island", "address", "mac", "host-name", "interface", "set-by")
    return _table(plan, DHCP_HOSTS, columns, rows)


def _value(text: str) -> int:
    return Address.from_text(text).value if text else -1


def _set_by(plan: Plan, one: Request) -> str:
    return "by DHCP" if plan.interface_named[one.subject].dhcp else "in the device"


def _switch_ports(plan: Plan, asked: Asked) -> Part:
    """Return the ports of each switch in their natural order."""
    return _table(
        plan,
        SWITCH_PORTS,
        ("switch", "port", "vlan", "subnet", "island", "interface", "address", "mac", "note"),
        (
            (*switch_and_port(one.switch_port), one.vlan, one.subnet, one.island, one.subject, one.address, one.mac,
             one.note)
            for one in asked.of(RequestKind.SWITCH_PORT)
        ),
    )  # fmt: skip


def island_part(report: Report) -> Part:
    """Return the islands: who manages their addresses, their contents, and their addresses from outside."""
    plan = report.plan
    islands = dict.fromkeys(subnet.island for subnet in plan.subnets)
    rows = []
    for island in islands:
        subnets = [subnet.name for subnet in plan.subnets if subnet.island == island]
        count = sum(plan.island_of(each) == island for each in plan.interfaces)
        outside = [
            f"{one.outside.value or one.outside.text} for {one.inside.text} at {one.at}"
            for one in plan.translations
            if one.island == island
        ]
        owner = "the machine: not requested" if island in plan.islands_without_it else "the site"
        reached = listed(outside, MOST) if outside else "not translated"
        rows.append((island, owner, listed(subnets, MOST), str(count), reached))
    columns = ("island", "managed-by", "subnets", "interfaces", "reached-by")
    return Part("Islands", columns, tuple(rows) if set(islands) - {SITE} else ())


def said_part(report: Report) -> Part:
    """Return the questions and changes of the site with their replies, in the plan's order."""
    checked, remarks = report.checked, report.plan.remarks
    findings = (*checked.findings, *(each.finding for each in checked.accepted))
    numbers = numbers_of(checked) if remarks else {}
    about = {remark: key for key, several in remarks_on(findings, remarks).items() for remark in several}
    rows = []
    for remark in remarks:
        number = numbers.get(about.get(remark, ""), 0)
        state = "resolved" if not number else "open" if number <= len(checked.findings) else "accepted"
        rows.append(
            (
                str(number or ""),
                remark.subject,
                remark.address,
                remark.rule,
                remark.decision,
                remark.change_to,
                remark.remark,
                remark.by,
                str(remark.decided or ""),
                remark.reply,
                state,
            )
        )
    return Part("Questions and changes of the site", SAID_COLUMNS, tuple(rows))


def hash_part(report: Report) -> Part:
    """Return the commands that compute the plan's hash, as lines to be copied."""
    return Part("How the plan's SHA-256 is made", lines=hash_recipe(report.plan), counted=False)


def survey_part(report: Report) -> Part:
    """Return the surveys: file, date, coverage and number of hosts, or `not read`."""
    rows = []
    for survey in report.surveys:
        covers = ", ".join(map(str, survey.covers)) or "nothing named"
        hosts = "not read" if survey.failed else str(len(survey.hosts))
        rows.append((survey.file, survey.island, str(survey.taken or "no date given"), covers, hosts))
    return _table(report.plan, "Surveys", ("file", "island", "taken", "covers", "hosts"), rows)


def changes_parts(changes: Changes) -> Iterator[Part]:
    """Yield new, resolved, accepted and remaining findings, then the subnets and interfaces that changed."""
    columns = ("severity", "rule", "subject", "address", "what")
    for title, findings in (
        ("New findings", changes.new),
        ("Resolved findings", changes.gone),
        ("Findings accepted since", changes.agreed),
        ("Remaining findings", changes.remaining),
    ):
        yield Part(title, columns, tuple(map(_finding, findings)))
    rows = tuple((*_finding(each.finding), answered_words(each)) for each in changes.answered)
    yield Part("Findings answered before", (*columns, "answer"), rows)
    for group in changes.groups:
        rows = tuple((each.subject, str(each.turn), words_of(each)) for each in group.changed)
        yield Part(f"{group.one.capitalize()}s changed", (group.one.replace(" ", "-"), "change", "values"), rows)


def answered_words(each: AcceptedFinding) -> str:
    """Return a sentence that says that an earlier answer is still valid."""
    day = f" of {each.decided}" if each.decided else ""
    return f"unchanged since your answer{day}: accepted by {each.by}"


def changes_line(changes: Changes) -> str:
    """Return in one line which revision the plan was compared with."""
    before = changes.before.plan
    revision = f", revision {before.revision}" if before.revision else ""
    return f"Compared with {before.name}{revision}; SHA-256 of its files: {before.sha256}"


def words_of(changed: Changed) -> str:
    """Return the differences of a subnet or an interface in one line."""
    return "; ".join(f"{one.what}: {one.before or 'none'} -> {one.now or 'none'}" for one in changed.differences)


def _finding(finding: Finding) -> tuple[str, ...]:
    subjects = ", ".join(finding.subjects)
    return str(finding.severity), finding.rule, subjects, finding.address or "", finding.message


def proof_parts(report: Report) -> Iterator[Part]:
    """Yield the ports; then the records, their files, and remarks on whole runs, if there are any."""
    columns: tuple[str, ...] = (
        "tested-port", "island", "address", "verdict", "cable", "answered-by", "luck", "unheard", "when", "record",
        "why",
    )  # fmt: skip
    none = "No record of a proving run was given."
    yield _table(report.plan, "Proofs", columns, (_port(report, port) for port in report.ports), none)
    if report.records:
        columns = ("record", "chain", "proved-by", "started", "seal")
        yield Part("Records and seals", columns, tuple(_records(report)))
    files = tuple(
        (short(record), file.name, str(file.size), file.sha256)
        for record in report.records
        for file in record.content.attachments
    )
    if files:
        yield Part("Files that belong to the records", ("record", "file", "bytes", "sha256"), files)
    if report.remarks:
        rows = tuple((one.port or "whole run", one.by, one.text) for one in report.remarks)
        yield Part("Remarks on whole runs", ("about", "by", "remark"), rows)


def _port(report: Report, port: PortResult) -> tuple[str, ...]:
    """Return the row of a port in the table of proofs."""
    proof, evidence = port.proof, port.evidence
    return (
        proof.subject,
        report.plan.island_of(port.interface),
        proof.address,
        marked(proof.verdict, report.simulated),
        proof.cable or "",
        "" if proof.mac is None else mac_text(proof.mac),
        "" if proof.luck is None else f"{proof.luck:.1e}",
        "" if proof.unheard is None else f"{proof.unheard:.1e}",
        moment(evidence.proved.at) if evidence else "",
        _where(evidence) if evidence else "",
        " ".join((proof.why, *further_words(port))),
    )


def _where(evidence: Evidence) -> str:
    """Return record, line, and the name of who proved the port if it is known."""
    return ", ".join(filter(None, (f"{evidence.record}, line {evidence.proved.line}", evidence.by)))


def further_words(port: PortResult) -> Iterator[str]:
    """Yield later attempts without a definite verdict, and the technicians' remarks, as sentences."""
    for attempt in port.later:
        yield f"A later attempt gave no definite verdict: {attempt}."
    for remark in port.remarks:
        yield f"Remark{f' of {remark.by}' if remark.by else ''}: {remark.text}"


def _records(report: Report) -> Iterator[tuple[str, ...]]:
    for record in report.records:
        seen = record.verification
        by = "; ".join(dict.fromkeys(run.by or "not named" for run in record.content.runs))
        began = "; ".join(dict.fromkeys(run.local or "not recorded" for run in record.content.runs))
        yield short(record), str(seen.state), by, began, seen.seal or "none: the chain is broken"
