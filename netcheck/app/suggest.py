"""Proposes free addresses for a plan, writes them if requested, and prints them."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from netcheck.addr import Address
from netcheck.app.check import proposed_by
from netcheck.app.progress import Steps
from netcheck.app.remarks import report_other_sheets
from netcheck.report.text.proposals import to_json, to_text
from netcheck.rules.engine import check, propose_addresses
from netcheck.rules.other_plans import OtherPlans, is_same, others_of
from netcheck.survey.read import Site, read_site
from netcheck.text import for_terminal, safe


def suggest(path: Path, day: date, others: Sequence[Path] = (), *, write: bool, as_json: bool) -> int:
    """Print the proposals; return 1 if an interface could not be placed or has an unreadable address, else 0.

    The proposals avoid every address that the plans of *others* use, and every address proposed for them. If an address
    is in another plan and in this one, the other plan keeps it. Files are written before anything is printed, so that
    closing the output pipe cannot interrupt the writing.
    """
    with Steps(2 + len(others)) as steps:
        steps.begin(f"reading {path}")
        site = read_site(path)
        report_other_sheets(site.plan)
        steps.end()
        beside = _others(path, site, others, day, steps) if others else OtherPlans()
        steps.begin("looking for free addresses")
        found = propose_addresses(*site, day, beside)
    addresses = {each.subject: each.address for each in found.proposals if each.address is not None}
    written = _write(path, addresses) if write else []
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    print(json.dumps(to_json(found), indent=2) if as_json else to_text(found, width).rstrip("\n"))
    if write:
        print("\n".join(written) or "nothing to write", file=sys.stderr)
    elif addresses and not as_json:
        print(for_terminal("\nNothing was written; --write puts these addresses into the plan.", sys.stdout))
    if found.left and not as_json:
        print(for_terminal("\n" + _left(found.left, path), sys.stdout))
    return int(found.left > 0)


def _others(path: Path, site: Site, others: Sequence[Path], day: date, steps: Steps) -> OtherPlans:
    """Return the other plans, with proposed addresses for those before this plan.

    `check` of all plans in this order proposes the same addresses. If this plan is not among them, it comes last.
    """
    sites = [(str(other), read_site(other, in_part=True)) for other in others]
    plans = [(label, one.plan) for label, one in sites]
    own = next((at for at, (_, plan) in enumerate(plans) if is_same(plan, site.plan)), None)
    if own is None:
        plans.append((str(path), site.plan))
    proposed: list[tuple[str, Address]] = []
    for at, (label, one) in enumerate(sites[:own]):
        steps.begin(f"checking {label}")
        proposed += proposed_by(check(*one, day, others=others_of(plans, at, proposed)))
        steps.end()
    return others_of([*plans, (str(path), site.plan)], len(plans), proposed)


def _left(count: int, path: Path) -> str:
    what, which = ("1 interface", "it") if count == 1 else (f"{count} interfaces", "them")
    return f"{what} could not be placed: correct {which} in the plan, then run: netcheck suggest {safe(str(path))}"


def _write(plan: Path, addresses: dict[str, Address]) -> list[str]:
    """Write the addresses into the plan's files; every file is prepared before the first file is replaced."""
    from netcheck.plan.write.addresses import with_addresses, write_all

    edits = with_addresses(plan, addresses)
    write_all(edits)
    return [f"written: {safe(str(edit.path))}" for edit in edits]
