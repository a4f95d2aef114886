"""The page of proof for signatures: its values, and the page as HTML and as text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from textwrap import wrap

from tabulate import tabulate

from netcheck.addr import mac_text
from netcheck.caution import CAUTION
from netcheck.proof.result import Verdict
from netcheck.record.model import Run
from netcheck.report import words
from netcheck.report.model import PortResult, Report, short
from netcheck.report.text.proofs import NO_PROOF, marked
from netcheck.text import safe

HEADERS = ("no.", "port", "place", "address", "verdict", "answered by", "when", "proved by")
SIGNED_BY = ("proved by (technician, company)", "received by (site)")
FIELDS = ("name, company", "date, place", "signature")
HOLDS = (
    "proven: the address answered from one MAC, nothing answered while the cable of this port was out, and the same "
    "MAC answered again. A proof is valid for its date.",
    "The seal is the hash of the last line of a record. `netcheck verify` prints it; only the seal on signed paper "
    "shows that the whole record was not rewritten.",
)
WIDTH = 100  # characters of a line of text


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOfProof:
    """The values of the page: a headline, one row for each port, and the facts of each record.

    A row is in the order of `HEADERS`. `open` gives the reason for each port that is not proven.
    """

    title: str
    headline: str
    warnings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    open: tuple[tuple[str, str], ...]  # port, reason
    remarks: tuple[tuple[str, str], ...]  # port, text with its author
    records: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]  # name, pairs of title and text


def page_of_proof(report: Report) -> PageOfProof:
    """Return the values of the page."""
    plan = report.plan
    proven = sum(port.verdict is Verdict.PROVEN for port in report.ports)
    warnings = [NO_PROOF] if report.simulated else []
    warnings += [f"Damaged record: {alarm}" for alarm in words.alarms(report)]
    warnings += [f"Does not fit: {misfit}" for misfit in report.misfits]
    return PageOfProof(
        title=f"{plan.name}{f', revision {plan.revision}' if plan.revision else ''}",
        headline=f"{proven} of {len(report.ports)} ports {marked(Verdict.PROVEN, report.simulated)}",
        warnings=tuple(warnings),
        rows=tuple(_row(number, port, report.simulated) for number, port in enumerate(report.ports, 1)),
        open=tuple((p.proof.subject, p.proof.why) for p in report.ports if p.verdict is not Verdict.PROVEN),
        remarks=tuple(_remarks(report)),
        records=tuple(
            (short(record), tuple(_about(record.content.runs, record.verification.seal))) for record in report.records
        ),
    )


def _row(number: int, port: PortResult, simulated: bool) -> tuple[str, ...]:
    """Return the row of a port, in the order of `HEADERS`."""
    proof, evidence = port.proof, port.evidence
    return (
        str(number),
        proof.subject,
        port.interface.location,
        proof.address,
        marked(proof.verdict, simulated),
        "" if proof.mac is None else mac_text(proof.mac),
        local_moment(evidence.proved.at, evidence.proved.run) if evidence else "",
        evidence.by if evidence else "",
    )


def _remarks(report: Report) -> Iterator[tuple[str, str]]:
    for remark in (*(one for port in report.ports for one in port.remarks), *report.remarks):
        yield remark.port or "whole run", f"{remark.text}{f' ({remark.by})' if remark.by else ''}"


def _about(runs: tuple[Run, ...], seal: str) -> Iterator[tuple[str, str]]:
    """Yield the facts of the runs of a record; a value that several runs share occurs once."""
    yield "seal", seal or "none: the chain is broken"
    for title, values in (
        ("proved by", [run.by or "not named" for run in runs]),
        ("permit", [run.permit for run in runs]),
        ("started", [_started(run) for run in runs]),
        ("station", [run.station for run in runs]),
        ("interface", [run.interface for run in runs]),
        ("netcheck", [run.version for run in runs]),
        ("plan, SHA-256", [run.sha256 for run in runs]),
    ):
        if said := "; ".join(dict.fromkeys(filter(None, values))):
            yield title, said


def _started(run: Run) -> str:
    return local_moment(run.local, run) if run.local else "not recorded"


def local_moment(at: str, run: Run | None) -> str:
    """Return a recorded UTC time as local time of its run, with the UTC offset; as UTC if the offset is not known."""
    try:
        here = datetime.fromisoformat(run.local).tzinfo if run and run.local else None
        moment = datetime.fromisoformat(at)
        local = moment.astimezone(here) if here else moment
    except (ValueError, OverflowError):
        return at
    return f"{local:%Y-%m-%d %H:%M} {local.isoformat()[-6:] if local.tzinfo else ''}".rstrip()


def to_text(report: Report) -> bytes:
    """Return the page as UTF-8 text; the same report gives the same bytes."""
    page = page_of_proof(report)
    parts = [f"PROOF OF ADDRESSES\n{safe(page.title)}\n{page.headline}"]
    parts += [_wrapped(f"WARNING: {warning}") for warning in page.warnings]
    rows = [[safe(cell, 100) for cell in row] for row in page.rows]
    table = tabulate(rows, HEADERS, tablefmt="simple", disable_numparse=True) if rows else "No record was given."
    parts.append("\n".join(line.rstrip() for line in table.splitlines()))
    parts += _list("Not proven, and why", page.open)
    parts += _list("Remarks", page.remarks)
    for name, pairs in page.records:
        parts.append("\n".join([f"Record {safe(name)}", *(f"  {title:<14} {safe(text)}" for title, text in pairs)]))
    for record in report.records:
        files = [
            f"  {safe(one.name, 100)}, {one.size} bytes, SHA-256 {safe(one.sha256, 64)}"
            for one in record.content.attachments
        ]
        parts += ["\n".join([f"Files that belong to {safe(short(record))}", *files])] if files else []
    parts.append("\n".join(_wrapped(line) for line in HOLDS))
    parts += ["\n".join([who, "", *(f"  {field + ' ':.<80}" for field in FIELDS)]) for who in SIGNED_BY]
    parts.append(f"Written by netcheck {report.version} on {report.today}. Plan SHA-256 {report.plan.sha256}")
    return ("\n\n".join(parts) + "\n").encode("utf-8")


def _list(title: str, pairs: tuple[tuple[str, str], ...]) -> list[str]:
    return ["\n".join([title, *(_wrapped(f"{port}: {text}") for port, text in pairs)])] if pairs else []


def _wrapped(text: str) -> str:
    return "\n".join(wrap(safe(text, 2000), WIDTH, subsequent_indent="  "))


def to_html(report: Report) -> bytes:
    """Return the page as HTML for printing and signing, in UTF-8.

    Values are escaped as in the report, the policy is the same, and there is no script.
    """
    from markupsafe import Markup

    from netcheck.report.html.page import TEMPLATES, digest, environment, page_header  # imports jinja2

    style = (TEMPLATES / "proof_page.css").read_text("utf-8") + page_header(report.plan, simulated=report.simulated)
    values = {
        "page": page_of_proof(report),
        "report": report,
        "headers": HEADERS,
        "holds": HOLDS,
        "signed_by": SIGNED_BY,
        "fields": FIELDS,
        "caution": CAUTION,
        "style": Markup(style),
        "style_hash": digest(style),
    }
    return environment().get_template("proof_page.html").render(values).encode("utf-8")
