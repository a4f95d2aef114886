"""Holds the report's wording: verdicts, evidence and figures for a reader who was not on site."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from shlex import quote
from typing import assert_never

from netcheck.plan.model import Plan
from netcheck.proof.result import Proof, Verdict
from netcheck.record.chain import ChainBreak, Torn
from netcheck.report.model import Report, short
from netcheck.report.text.proofs import NO_PROOF, SIMULATED
from netcheck.requests.model import Asked, RequestKind
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Severity
from netcheck.text import listed, number_of

# Limits of the method; common practice.
CANNOT_SHOW = (
    "A device that restarted by itself when its cable was asked for looks like a pulled cable. Therefore every "
    "verdict names its cable evidence: inferred is weaker than operator or carrier.",
    "A device that imitates another device perfectly, with its MAC, cannot be distinguished from it.",
    "Another cable that leads to the same device causes the same silence.",
    "A proof is valid for its date. It does not show what was connected, configured or replaced later.",
)

# The title of each column, by its key. Every format uses these titles, except CSV and JSON, whose names are a contract;
# the page begins them with a capital. The title of a key that is not listed is the key with spaces for hyphens.
TITLES = {
    "number": "no.",
    "mac": "MAC",
    "vlan": "VLAN",
    "message": "what",
    "sha256": "SHA-256",
    "answered-by": "answered by",
    "cable": "cable evidence",
    "from-address": "its address",
    "to-address": "its address there",
    "interfaces-inside": "interfaces inside",
    "managed-by": "addresses are managed by",
    "reached-by": "reached from outside by",
    "set-by": "address is set",
    "started": "started, local time",
    "tested-port": "port",
    "earlier-answers": "earlier answers",
}


def titles_of(columns: Iterable[str]) -> tuple[str, ...]:
    """Return the titles of columns."""
    return tuple(TITLES.get(column) or column.replace("-", " ") for column in columns)


CAUTION_NUMBERS = (
    "Both figures assume independent probes. Echo requests a second apart are not fully independent: one spanning-tree "
    "event can suppress many replies. Read the figures as orders of magnitude, together with the counts n. "
    "Three unanswered probes prove little: with 0 of 3 answered, the rate of replies may still be 63 percent "
    "(upper 95 percent bound)."
)


def headline(report: Report) -> str:
    """Return the result in one line: whether the plan can be installed, and how many ports are proven."""
    paper = plan_headline(report.checked)
    if not report.records:
        return f"{paper}. No proof was given."
    proven = dict(report.verdicts).get(Verdict.PROVEN, 0)
    sure = f"{NO_PROOF}. " if report.simulated else ""
    mark = f" ({SIMULATED})" if report.simulated else ""
    return f"{sure}{paper}. {proven} of {number_of(len(report.ports), 'port')} proven{mark}."


def plan_headline(checked: Checked) -> str:
    """Return in words whether the plan can be installed, with the accepted findings and the unreadable values.

    Accepted findings are counted, because a plan whose conflicts were all accepted still has conflicts.
    """
    conflicts, risks = checked.count(Severity.CONFLICT), checked.count(Severity.RISK)
    accepted = [each.finding for each in checked.accepted]
    grave = sum(finding.severity is Severity.CONFLICT for finding in accepted)
    unread = sum(finding.rule == "unreadable-value" for finding in (*checked.findings, *accepted))
    if conflicts:
        parts = [f"{number_of(conflicts, 'conflict')}: do not install this plan as drafted"]
    elif risks:
        parts = [f"No {'open ' if grave else ''}conflict; {number_of(risks, 'risk')} to agree on with the site"]
    elif not accepted:
        parts = ["No conflict and no risk found"]
    else:
        parts = [f"{len(checked.findings):,} open"]
    if accepted:
        parts.append(f"{len(accepted):,} accepted{f', {grave:,} of them conflicts' if grave else ''}")
    if unread:
        parts.append(f"{number_of(unread, 'value')} cannot be read")
    return "; ".join(parts)


def hash_recipe(plan: Plan) -> tuple[str, ...]:
    """Return lines with the commands that compute the plan's SHA-256 from its files without netcheck."""
    names = [f"./{name}" if name.startswith("-") else name for name in plan.files]
    of_shell = " ".join(map(quote, names))
    of_windows = "+".join(f'"{name}"'.replace("/", "\\") for name in names)
    return (
        f"The plan's SHA-256 is that of {number_of(len(names), 'file')}, one after the other. In the plan's folder:",
        f"Linux: cat {of_shell} | sha256sum",
        f"macOS: cat {of_shell} | shasum -a 256",
        f"Windows, in a command prompt: copy /b {of_windows} all.bin && certutil -hashfile all.bin SHA256",
        f"Each prints {plan.sha256} if the files are those of this report.",
    )


def needed_from_it(asked: Asked, report: Report) -> str:
    """Return the tasks of IT in one line, each with its count."""
    counts = Counter(request.kind for request in asked.needed)
    words = [number_of(len(report.checked.findings), "decision")] if report.checked.findings else []
    words += [number_of(counts[kind], str(kind)) for kind in RequestKind if counts[kind]]
    day = f"; please reply by {report.reply_by}" if report.reply_by else ""
    return (listed(words, most=len(words)) if words else "nothing") + day


def alarms(report: Report) -> tuple[str, ...]:
    """Return one sentence for each record that is broken or torn."""
    return tuple(
        f"{short(record)}: {_alarm(record.verification.flaw)}" for record in report.flawed if record.verification.flaw
    )


def _alarm(flaw: ChainBreak | Torn) -> str:
    """Return the consequence of a broken or torn line in a sentence."""
    match flaw:
        case ChainBreak():
            return (
                f"chain broken at line {flaw.line}; that line and the proofs after it are not evidence and are not "
                f"shown. Reason: {flaw.reason}."
            )
        case Torn():
            return f"{flaw}. The content of that line is lost; the {flaw.line - 1} lines before it are intact."
        case other:
            assert_never(other)


def severity_sign(severity: Severity) -> str:
    """Return a shape that stands next to the word and never replaces it."""
    return {Severity.CONFLICT: "■", Severity.RISK: "▲", Severity.NOTE: "●"}[severity]


def verdict_sign(verdict: Verdict) -> str:
    """Return the shape of a verdict: a tick, a question mark, a dash, else a cross."""
    signs = {
        Verdict.PROVEN: "✓",
        Verdict.UNSETTLED: "?",
        Verdict.SKIPPED: "–",
        Verdict.NOT_TESTED: "–",
    }  # a dash is meant
    return signs.get(verdict, "✗")


def meaning(verdict: Verdict) -> str:
    """Return the meaning of a verdict in one sentence."""
    match verdict:
        case Verdict.SILENT:
            return "nothing answered with the cable in"
        case Verdict.CONTESTED:
            return "two or more devices answered for the address"
        case Verdict.RELAYED:
            return "a device that also answers for other addresses, such as a router, answered in its place"
        case Verdict.SWAPPED:
            return "the device of another planned address answered, or the wrong cable was pulled"
        case Verdict.WRONG_HARDWARE:
            return "another MAC than the planned one answered"
        case Verdict.IMPOSTOR:
            return "with the cable out, another device answered for the address"
        case Verdict.STILL_ANSWERING:
            return "with the cable out, the device still answered: it was the wrong cable, or there is a second path"
        case Verdict.SKIPPED:
            return "the operator skipped the port: its proof was not finished"
        case Verdict.UNSETTLED:
            return "the observations are not enough for a verdict"
        case Verdict.NOT_BACK:
            return "the device answered, fell silent, and did not come back"
        case Verdict.WRONG_SETTINGS:
            return "the proof is complete, but the mask or the gateway in the device is not the planned one"
        case Verdict.PROVEN:
            return "the address answered from one MAC, was silent with the cable out, and answered again from that MAC"
        case Verdict.NOT_TESTED:
            return "no proof of this port counts"
        case other:
            assert_never(other)


# The meaning of values of a proof's fields; other values are shown unchanged.
EVIDENCE_WORDS = {
    "cable": {
        "carrier": "carrier: the station's own link dropped when the cable was pulled",
        "operator": "operator: a key was pressed when the cable was out",
        "inferred": "inferred: only this address fell silent after the cable was asked for, and came back; a device "
        "that restarted at that moment would look the same",
    },
    "connector": {
        "operator": "operator: a key was pressed after the cable was moved to this connector",
        "lldp": "lldp: the device named the connector itself",
        "assumed": "assumed: only the order of the work shows which connector it was",
    },
    "identity": {
        "planned": "planned: the plan names this MAC",
        "learned": "learned: the MAC was learned during the proof; the plan names none, or another one",
    },
    "echo": {
        "answered": "answered",
        "blocked": "blocked: ARP was answered, echo was not",
    },
}


def facts_of(proof: Proof) -> tuple[tuple[str, str], ...]:
    """Return the known facts of a proof as titles and texts."""
    no_luck = "no figure: nothing can be sent without a link" if proof.cable == "carrier" else ""
    told = (
        ("Cable evidence", _in_words("cable", proof.cable)),
        ("Connector", _in_words("connector", proof.connector)),
        ("Identity", _in_words("identity", proof.identity)),
        ("Echo", _in_words("echo", proof.echo)),
        ("Silence by chance", no_luck if proof.luck is None else chance(proof.luck)),
        ("Second owner unheard", "" if proof.unheard is None else chance(proof.unheard)),
    )
    return tuple((title, words) for title, words in told if words)


def _in_words(name: str, value: str | None) -> str:
    return EVIDENCE_WORDS[name].get(value, value) if value is not None else ""


def chance(value: float) -> str:
    """Return a probability such as `4.1e-05, 1 in 24,000`."""
    if not 0 < value <= 1:
        return f"{value:g}"
    odds = "less than 1 in a thousand million" if value < 1e-9 else f"1 in {float(f'{1 / value:.2g}'):,.0f}"
    return f"{value:.1e}, {odds}"


def moment(at: str) -> str:
    """Return a record's time to the second, such as `2026-11-02 09:14:03 UTC`."""
    return f"{at[:10]} {at[11:19]} UTC"


MOST_NAMED = 12  # names in one sentence; further names are counted


def not_checked(report: Report) -> tuple[str, ...]:
    """Return what was not checked: of the plan, of its surveys, of the proofs, and what no check can show."""
    return (*_plan(report), *_surveys(report), *_proofs(report), *_never(report))


def _plan(report: Report) -> Iterator[str]:
    plan = report.plan
    unread = sum(finding.rule == "unreadable-value" for finding in report.checked.findings)
    if unread:
        yield f"Values that cannot be read: {unread}. No rule could use them."
    unplaced = [each.subject for each in plan.interfaces if each.address is None or not each.address.text]
    if unplaced:
        yield f"Interfaces without an address: {listed(unplaced, MOST_NAMED)}."
    if not plan.conversations:
        yield "The plan lists no conversations: whether devices can reach each other was not checked."


def _surveys(report: Report) -> Iterator[str]:
    """Yield a sentence for each part of the site that no survey shows."""
    if not report.surveys:
        yield "The plan names no survey: clashes with hosts that are already on the site were not checked."
    every = (*report.checked.findings, *(agreed.finding for agreed in report.checked.accepted))
    for finding in every:
        if report.surveys and finding.rule == "not-surveyed":
            yield f"Subnet {finding.subjects[0]}: {finding.message}."
    for survey in report.surveys:
        for problem in survey.failed:
            why = problem._replace(where="")
            yield f"{survey.file} could not be read, so clashes with hosts in it were not checked: {why}."
        skipped = survey.skipped
        if skipped.count:
            yield f"{survey.file} has rows that could not be used: {skipped.count}; the first: {skipped.first[0]}."


def _proofs(report: Report) -> Iterator[str]:
    if not report.records:
        yield "No record of a proving run was given: this report does not show that any device answers."
        return
    untested = [port.proof.subject for port in report.ports if port.verdict is Verdict.NOT_TESTED]
    if untested:
        yield f"Ports not tested: {listed(untested, MOST_NAMED)}."


def _never(report: Report) -> Iterator[str]:
    yield "A survey shows the hosts of its date; an address that it does not list is not proven free."
    # RFC 6918 withdrew the address mask messages: masks cannot be read over the network.
    found = [port.proof.subject for port in report.ports if _settings_found(port.proof)]
    others = "; the values typed into a device cannot be asked for over the network"
    if found:
        yield f"Mask and gateway were found by the device's behaviour at: {listed(found, MOST_NAMED)}."
        others = " at all other ports"
    yield f"Only the planned values of masks and gateways are checked{others}."


def _settings_found(proof: Proof) -> bool:
    said = dict(proof.evidence)
    return any(not said.get(name, "cannot tell").startswith("cannot tell") for name in ("mask", "gateway"))
