"""Writes proofs as text for the terminal and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from netcheck.addr import mac_text
from netcheck.proof.result import Proof, Verdict
from netcheck.text import safe

INDENT = " " * 17
SIMULATED = "SIMULATED"
NO_PROOF = f"{SIMULATED}: a simulated bench was proven, not a site"


def summary(proofs: Sequence[Proof]) -> dict[str, int]:
    """Return the number of ports by verdict, `proven` first, zeros included so that no key is missing."""
    words = [proof.verdict for proof in proofs]
    order = (Verdict.PROVEN, *(verdict for verdict in Verdict if verdict is not Verdict.PROVEN))
    return {str(verdict): words.count(verdict) for verdict in order}


def counted(proofs: Sequence[Proof]) -> str:
    """Return the same in words, without zeros."""
    return ", ".join(f"{count} {word}" for word, count in summary(proofs).items() if count) or "nothing to do"


def marked(verdict: Verdict, simulated: bool) -> str:
    """Return a verdict in words, marked where it is of a simulated run."""
    return f"{verdict} ({SIMULATED})" if simulated else str(verdict)


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
    """Return one block a port: verdict, who replied, figures and reason, wrapped to *width* where possible."""
    lines = [NO_PROOF] if simulated else []
    for proof in proofs:
        who = "" if proof.mac is None else f"  {mac_text(proof.mac)}"
        lines.append(f"{marked(proof.verdict, simulated):<16} {safe(proof.subject)}  {safe(proof.address)}{who}")
        said = [proof.why, _figures(proof), *(f"note: {note}" for note in proof.notes)]
        said += [f"{name}: {value}" for name, value in proof.evidence]
        for text in filter(None, said):
            lines += wrap(safe(text, 1000), max(60, width), initial_indent=INDENT, subsequent_indent=INDENT)
    return lines


def _figures(proof: Proof) -> str:
    """Return the evidence in one line, so that `cable: inferred` is always shown with the verdict."""
    parts = (
        ("cable", proof.cable),
        ("connector", proof.connector),
        ("identity", proof.identity),
        ("echo", proof.echo),
        ("luck", None if proof.luck is None else f"{proof.luck:.1e}"),
        ("unheard", None if proof.unheard is None else f"{proof.unheard:.1e}"),
    )
    return ", ".join(f"{name}: {value}" for name, value in parts if value is not None)
