"""The report's own words: what verdicts, evidence and numbers mean to somebody who was not there."""

from __future__ import annotations

from typing import assert_never

from netcheck.proof.result import Proof, Verdict
from netcheck.record.read import ChainBreak, Torn
from netcheck.report.model import Report, short
from netcheck.rules.finding import Severity

# 6-settled-details.md 37 names what a proof cannot show; the rest is common practice.
CANNOT_SHOW = (
    "A device that restarted by itself at the very moment the cable was asked for looks like a pulled cable. "
    "Therefore the cable's evidence stands beside every verdict: inferred is weaker than operator or carrier.",
    "A device that imitates another one perfectly, its MAC included, cannot be told from it.",
    "If another cable was pulled that leads to the same device, its silence looks the same.",
    "A proof holds for its day. Nothing here says what was connected, typed in or replaced later.",
)

CAUTION_NUMBERS = (
    "Both figures take probes for independent trials. Echoes a second apart are not quite that: one spanning-tree "
    "event silences a whole run of them. Read them as orders of magnitude, with the counts n beside them, and mind "
    "that three silent probes alone prove little: with 0 of 3 answered, the rate of answers may still be 63 percent "
    "(upper 95 percent bound)."
)


def headline(report: Report) -> str:
    """The whole report in one line: may it be installed so, and what is proven."""
    conflicts, risks = report.checked.count(Severity.CONFLICT), report.checked.count(Severity.RISK)
    if conflicts:
        paper = f"{_counted(conflicts, 'conflict')}: this plan must not be installed so"
    elif risks:
        paper = f"No conflict; {_counted(risks, 'risk')} to agree with the site"
    else:
        paper = "No conflict and no risk found"
    if not report.records:
        return f"{paper}. No proof was given."
    proven = dict(report.verdicts).get(Verdict.PROVEN, 0)
    return f"{paper}. {proven} of {_counted(len(report.ports), 'port')} proven."


def _counted(count: int, noun: str) -> str:
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def alarms(report: Report) -> tuple[str, ...]:
    """One loud sentence for each record that is broken or torn."""
    return tuple(
        f"{short(record)}: {_alarm(record.verification.flaw)}" for record in report.flawed if record.verification.flaw
    )


def _alarm(flaw: ChainBreak | Torn) -> str:
    match flaw:
        case ChainBreak():
            return (
                f"chain broken at line {flaw.line}; that line and the proofs behind it are not evidence and are not "
                f"shown. Why it does not fit: {flaw.reason}."
            )
        case Torn():
            return f"{flaw}. What that line held is lost; the {flaw.line - 1} lines before it fit."
        case other:
            assert_never(other)


def severity_sign(severity: Severity) -> str:
    """A shape that stands beside the word, never in its place."""
    return {Severity.CONFLICT: "■", Severity.RISK: "▲", Severity.NOTE: "●"}[severity]


def verdict_sign(verdict: Verdict) -> str:
    """A shape that stands beside the word: a tick, a question mark, a dash, else a cross."""
    signs = {Verdict.PROVEN: "✓", Verdict.UNSETTLED: "?", Verdict.NOT_TESTED: "–"}  # a dash is meant
    return signs.get(verdict, "✗")


def meaning(verdict: Verdict) -> str:
    """A verdict in one sentence, for the list below the table."""
    match verdict:
        case Verdict.SILENT:
            return "nothing answered with the cable in"
        case Verdict.CONTESTED:
            return "two or more devices answered for the address"
        case Verdict.RELAYED:
            return "something that answers for other addresses too, such as a router, answered in its place"
        case Verdict.SWAPPED:
            return "the device of another planned address answered, or the wrong cable was pulled"
        case Verdict.WRONG_HARDWARE:
            return "another MAC than the planned one answered"
        case Verdict.IMPOSTOR:
            return "with the cable out, another device answered for the address"
        case Verdict.STILL_ANSWERING:
            return "with the cable out, the device still answered: wrong cable or a second path"
        case Verdict.UNSETTLED:
            return "the observations do not suffice to tell"
        case Verdict.NOT_BACK:
            return "it answered, fell silent, and did not come back"
        case Verdict.PROVEN:
            return "answered from one MAC, silent with the cable out, answered again from the same MAC"
        case Verdict.NOT_TESTED:
            return "no proof of this port counts"
        case other:
            assert_never(other)


# What the values of a proof's fields mean; a record may hold others, which are shown as they are.
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
        "assumed": "assumed: nothing but the order of the work says which connector it was",
    },
    "identity": {
        "planned": "planned: the plan names this MAC",
        "learned": "learned: this MAC was learned here; the plan names none, or another one",
    },
    "echo": {
        "answered": "answered",
        "blocked": "blocked: ARP was answered, echo was not",
    },
}


def facts_of(proof: Proof) -> tuple[tuple[str, str], ...]:
    """What is known beside the verdict, as titles and words; what was not learned is left out."""
    no_luck = "no figure: without a link nothing can be sent" if proof.cable == "carrier" else ""
    told = (
        ("Cable evidence", _in_words("cable", proof.cable)),
        ("Connector", _in_words("connector", proof.connector)),
        ("Identity", _in_words("identity", proof.identity)),
        ("Echo", _in_words("echo", proof.echo)),
        ("Luck", no_luck if proof.luck is None else chance(proof.luck)),
        ("Unheard owner", "" if proof.unheard is None else chance(proof.unheard)),
    )
    return tuple((title, words) for title, words in told if words)


def _in_words(name: str, value: str | None) -> str:
    return EVIDENCE_WORDS[name].get(value, value) if value is not None else ""


def chance(value: float) -> str:
    """A probability as `4.1e-05, 1 in 24,000`."""
    if not 0 < value <= 1:
        return f"{value:g}"
    odds = "less than 1 in a thousand million" if value < 1e-9 else f"1 in {float(f'{1 / value:.2g}'):,.0f}"
    return f"{value:.1e}, {odds}"


def moment(at: str) -> str:
    """A record's time to the second, as it is read by people: `2026-11-02 09:14:03 UTC`."""
    return f"{at[:10]} {at[11:19]} UTC"
