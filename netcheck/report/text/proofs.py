"""Writes proofs as text for the terminal and as JSON."""

from __future__ import annotations

import re
from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from netcheck.addr import mac_text
from netcheck.proof.result import Proof, Verdict
from netcheck.text import safe

INDENT = " " * 17
CABLE = {
    "carrier": "cable: its link dropped",
    "operator": "cable: confirmed by a key",
    "inferred": "cable: inferred from the silence",
}
CONNECTOR = {
    "operator": "connector: confirmed by a key",
    "lldp": "connector: announced by LLDP",
    "assumed": "connector: as the plan says, not confirmed",
}
IDENTITY = {"planned": "MAC: as planned", "learned": "MAC: learned on the wire"}
# The figures that the judge adds to a sentence: "The silence could be luck: 3.0e-03, above 1.0e-04."
_CHANCES = re.compile(r": (?:\d\.\de-\d\d|not known), above \d\.\de-\d\d(?=\.)")
# Beginnings of notes that only the reports show: figures that the reports explain, and facts of `_in_words`.
_OF_REPORTS = ("luck: ", "echo: ", "phase in: ")
_CABLE_NOTE = "cable: "  # begins a note that says more about the cable than `CABLE`
SIMULATED = "SIMULATED"
NO_PROOF = f"{SIMULATED}: a simulated bench was proven, not a site"


def summary(proofs: Sequence[Proof]) -> dict[str, int]:
    """Return the number of ports by verdict, `proven` first; every verdict is a key, also with the number 0."""
    words = [proof.verdict for proof in proofs]
    order = (Verdict.PROVEN, *(verdict for verdict in Verdict if verdict is not Verdict.PROVEN))
    return {str(verdict): words.count(verdict) for verdict in order}


def counted(proofs: Sequence[Proof]) -> str:
    """Return the number of ports by verdict in words; a verdict that no port has is left out."""
    return ", ".join(f"{count} {word}" for word, count in summary(proofs).items() if count) or "nothing to do"


def marked(verdict: Verdict, simulated: bool) -> str:
    """Return a verdict in words, with a mark if the run was simulated."""
    return f"{verdict} ({SIMULATED})" if simulated else str(verdict)


def verdict_width(simulated: bool) -> int:
    """Return the columns of the longest verdict with its mark, so that the next column begins at one place."""
    return max(len(marked(verdict, simulated)) for verdict in Verdict) + 1


def to_json(proofs: Sequence[Proof], record: str, seal: str, *, simulated: bool = False) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
    return {
        **({"simulated": True} if simulated else {}),
        "proofs": [{**proof.to_json(), **({"simulated": True} if simulated else {})} for proof in proofs],
        "summary": summary(proofs),
        "record": record,
        "seal": seal,
    }


def to_lines(proofs: Sequence[Proof], width: int = 100, *, simulated: bool = False) -> list[str]:
    """Return the lines of each port: verdict, MAC that replied, reason and evidence, wrapped to *width*."""
    lines = [NO_PROOF] if simulated else []
    for proof in proofs:
        who = "" if proof.mac is None else f"  {mac_text(proof.mac)}"
        verdict = f"{marked(proof.verdict, simulated):<{verdict_width(simulated)}}"
        head = f"{verdict} {safe(proof.subject)}  {safe(proof.address)}{who}"
        lines += _wrapped(head, width, "")
        notes = [note for note in proof.notes if not note.startswith((*_OF_REPORTS, _CABLE_NOTE))]
        said = [without_figures(proof.why), _in_words(proof), *(f"note: {without_figures(note)}" for note in notes)]
        said += [f"{name}: {value}" for name, value in proof.evidence]
        for text in filter(None, said):
            lines += _wrapped(safe(text, 1000), width, INDENT)
    return lines


def _wrapped(text: str, width: int, first: str) -> list[str]:
    """Return a text as lines of whole words; a MAC or a name with hyphens is not broken."""
    return wrap(text, max(60, width), initial_indent=first, subsequent_indent=INDENT, break_on_hyphens=False)


def without_figures(text: str) -> str:
    """Return a sentence about a port without its probabilities; only the reports show and explain them."""
    return _CHANCES.sub("", text)


def _in_words(proof: Proof) -> str:
    """Return the evidence in plain words on one line, so that `cable: inferred` is always shown with the verdict."""
    cable = next((note for note in proof.notes if note.startswith(_CABLE_NOTE)), CABLE.get(proof.cable or "", ""))
    said = (
        cable.replace("; ", ", "),
        CONNECTOR.get(proof.connector or "") if proof.cable is not None else None,
        IDENTITY.get(proof.identity or ""),
        "echo is blocked" if proof.echo == "blocked" else None,
    )
    return "; ".join(filter(None, said))
