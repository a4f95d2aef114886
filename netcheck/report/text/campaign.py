"""Writes the truth campaign as text and as JSON: verdicts by class of site, with exact confidence limits."""

from __future__ import annotations

from typing import Any

from tabulate import tabulate

from netcheck.proof.result import Verdict
from netcheck.rig.campaign.confidence import lower, upper
from netcheck.rig.campaign.run import ClassRow, Share, Summary

HEADS = {
    Verdict.SILENT: "silent",
    Verdict.CONTESTED: "con-\ntested",
    Verdict.RELAYED: "re-\nlayed",
    Verdict.SWAPPED: "swap-\nped",
    Verdict.WRONG_HARDWARE: "wrong-\nhardw.",
    Verdict.IMPOSTOR: "im-\npostor",
    Verdict.STILL_ANSWERING: "still-\nansw.",
    Verdict.SKIPPED: "skip-\nped",
    Verdict.UNSETTLED: "unset-\ntled",
    Verdict.NOT_BACK: "not-\nback",
    Verdict.WRONG_SETTINGS: "wrong-\nsett.",
    Verdict.PROVEN: "proven",
    Verdict.NOT_TESTED: "not-\ntested",
}


WIDE = 160  # columns of the table that has one column for each verdict
OTHER_CELLS = 47  # width of the other cells if the verdicts share one column


def to_text(summary: Summary, form: str = "simple", width: int = WIDE) -> str:
    """Return the whole result.

    *form* is a table format of tabulate (`github` for Markdown). Below 160 columns the verdicts of a class share one
    column.
    """
    counted = [row for row in summary.rows if not row.apart]
    apart = [row for row in summary.rows if row.apart]
    parts = [
        f"Truth campaign: {summary.sites} sites with {summary.ports} ports, seed {summary.seed}",
        _table(counted, form, width),
    ]
    if apart:
        parts += ["Counted separately: no station can distinguish these from sound ports."]
        parts += [_table(apart, form, width)]
    if any(share.of for _, share in summary.alike):
        parts += [
            "How often ports were proven that no station can distinguish from sound ports:",
            _alike(summary, form),
        ]
    parts += ["\n".join(_lines(summary))]
    parts += [
        f"FALSE PROOF site {one.seed}: {', '.join(one.story)}: {one.why}" for one in summary.false_proofs
    ]  # fmt: skip
    return "\n\n".join(parts)


def _table(rows: list[ClassRow], form: str, width: int) -> str:
    """Return the table of verdicts by class of site."""
    if width < WIDE and form == "simple":
        return _listed(rows, width)
    shown = [verdict for verdict in Verdict if any(dict(row.counts).get(verdict) for row in rows)]
    heads = [
        "class of site",
        "sites",
        *(HEADS[verdict] if form == "simple" else str(verdict) for verdict in shown),
        "right",
    ]
    cells = [
        [
            row.label,
            row.sites,
            *(dict(row.counts).get(verdict, "") for verdict in shown),
            _percent(row.named, row.graded),
        ]
        for row in rows
    ]
    return tabulate(cells, heads, tablefmt=form)


def _listed(rows: list[ClassRow], width: int) -> str:
    """Return one line for each class, with its verdicts by descending count."""
    cells = [
        (
            row.label,
            row.sites,
            ", ".join(f"{count} {verdict}" for verdict, count in sorted(row.counts, key=lambda pair: -pair[1])),
            _percent(row.named, row.graded),
        )
        for row in rows
    ]
    room = max(24, width - OTHER_CELLS)
    return tabulate(cells, ("class of site", "sites", "verdicts", "right"), maxcolwidths=[26, None, room, None])


def _alike(summary: Summary, form: str) -> str:
    """Return the indistinguishable cases that occurred."""
    cells = [(str(alike), share.of, share.seen) for alike, share in summary.alike if share.of]
    return tabulate(cells, ("case", "ports", "proven"), tablefmt=form, maxcolwidths=[56, None, None])


def _percent(seen: int, of: int) -> str:
    return f"{100 * seen / of:.1f} %" if of else "-"


def _lines(summary: Summary) -> list[str]:
    """Return the sums with one-sided limits."""
    apart = summary.apart
    return [
        f"false proofs        {_most(summary.undeserved)} where no proof is deserved",
        f"false alarms        {_most(summary.alarms)} where a proof is deserved",
        f"undecided           {_most(summary.undecided)} where a proof is deserved",
        f"healthy and proven  {_least(summary.healthy)}, loss up to 20 %",
        f"faults named right  {_least(summary.faulty)}",
        f"separate, proven    {apart.seen} of {apart.of}",
        "Limits are exact (Clopper-Pearson), one-sided, at 95 % confidence.",
        "netcheck/rig/campaign/distribution.py says how sites are drawn.",
        "The truth about a site is taken from the simulation.",
    ]


def _most(share: Share) -> str:
    limit = f"{upper(share.seen, share.of):.2g}" if share.of else "-"
    return f"{share.seen} of {share.of} (at most {limit})"


def _least(share: Share) -> str:
    limit = f"{100 * lower(share.seen, share.of):.2f} %" if share.of else "-"
    return f"{share.seen} of {share.of}, {_percent(share.seen, share.of)} (at least {limit})"


def to_json(summary: Summary) -> dict[str, Any]:
    """Return the result as data. `upper` and `lower` are one-sided exact limits at 95 %, null without cases."""
    return {
        "campaign": {
            "sites": summary.sites,
            "seed": summary.seed,
            "limits": "Clopper-Pearson, one-sided, 95 %",
            "ports": summary.ports,
        },
        "rows": [
            {
                "class": row.label,
                "apart": row.apart,
                "sites": row.sites,
                "verdicts": {str(verdict): count for verdict, count in row.counts},
                "right": row.named,
                "false_proofs": row.false_proofs,
                "false_alarms": row.false_alarms,
                "undecided": row.undecided,
            }
            for row in summary.rows
        ],
        "false_proofs": _share(summary.undeserved),
        "false_alarms": _share(summary.alarms),
        "undecided": _share(summary.undecided),
        "healthy_proven": _share(summary.healthy),
        "faults_named": _share(summary.faulty),
        "apart_proven": _share(summary.apart),
        "indistinguishable": [
            {"case": str(alike), "ports": share.of, "proven": share.seen} for alike, share in summary.alike
        ],
        "false_proof_sites": [
            {"site": one.seed, "class": one.label, "story": list(one.story), "why": one.why}
            for one in summary.false_proofs
        ],
    }


def _share(share: Share) -> dict[str, Any]:
    return {
        "seen": share.seen,
        "of": share.of,
        "lower": lower(share.seen, share.of) if share.of else None,
        "upper": upper(share.seen, share.of) if share.of else None,
    }
