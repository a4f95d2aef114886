"""Runs the demonstration step by step: check, map, correct, prove on the rig, report."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from netcheck.addr import Address
from netcheck.app.check import findings_to_print
from netcheck.app.map import draw
from netcheck.app.prepare import run_input
from netcheck.app.prove import Order, RunOutcome, conduct
from netcheck.caution import caution_to_text
from netcheck.errors import Problem, UsageError
from netcheck.files import write_atomically
from netcheck.plan.model import Plan
from netcheck.plan.write.addresses import with_addresses, write_all
from netcheck.proof.events import RunOptions
from netcheck.proof.result import Verdict
from netcheck.record.verify import read_record
from netcheck.report.build import report_of
from netcheck.report.formats import kinds_for
from netcheck.report.text.proofs import SIMULATED, counted, to_lines
from netcheck.rig.plant import Trouble, hanging, plant
from netcheck.rig.technicians import Technician
from netcheck.rules.engine import Checked, check
from netcheck.rules.finding import Severity
from netcheck.survey.model import Survey
from netcheck.survey.read import read_site

PLANT = "tarn-hollow"
MARK = ".netcheck-demo"  # this file marks a folder that may be overwritten
SEED = 20261102
TROUBLE = Trouble(
    impostors=("palletiser-plc/cpu",),
    swapped=(("pasteuriser-panel/lan", "cip-panel/lan"),),
    lossy={"boiler-panel/lan": 0.15},
)


def demonstrate(out: Path) -> None:
    """Run the whole job and write plan, record and reports into a folder."""
    _make_room(out)
    with _step("1. Check the draft against the site's list"):
        plan, surveys, checked = _checked(out / "plan")
        print(findings_to_print(checked))
    with _step("2. Show the address space and who has which address"):
        print(draw(plan, surveys, checked, "", shutil.get_terminal_size().columns))
    with _step("3. Write the proposed addresses into the plan"):
        plan, surveys, checked = _apply_fixes(out / "plan", checked)
    with _step("4. Prove every port, on a simulated bench in virtual time"):
        print(caution_to_text())
        outcome = _prove(out)
        _print_proofs(outcome)
    with _step("5. Report to the site's IT"):
        _report(out, checked, surveys)
    print(f"\nSeal of the record, for the signed paper: {outcome.seal}")


@contextmanager
def _step(title: str) -> Iterator[None]:
    print(f"\n{title}\n{'=' * len(title)}", flush=True)
    yield


def _source() -> Path:
    """Return the folder of the invented plant: in the installed package, or in a clone."""
    package = Path(__file__).parents[1]
    places = (package / "demo-plans" / PLANT, package.parent / "plans" / PLANT)
    return next(folder for folder in places if folder.is_dir())


def _make_room(out: Path) -> None:
    """Create the folder, or remove an earlier demonstration from it; refuse a folder with other files."""
    if out.exists() and (not out.is_dir() or (any(out.iterdir()) and not (out / MARK).exists())):
        what = (
            "contains other files; the demonstration overwrites only its own files"
            if out.is_dir()
            else "is not a folder"
        )
        raise UsageError(Problem(f"{out} {what}", do="Name another folder with --out"))
    try:
        shutil.rmtree(out / "plan", ignore_errors=True)
        (out / "plan").mkdir(parents=True)
        for name in ("run.jsonl", "report.html", "findings.csv"):
            (out / name).unlink(missing_ok=True)
        for file in sorted(_source().iterdir()):
            shutil.copyfile(file, out / "plan" / file.name)
        write_atomically(out / MARK, b"Written by netcheck demo, which may write it again.\n")
    except OSError as error:
        what = f"{out} cannot be written: {error.strerror}"
        raise UsageError(Problem(what, do="Name another folder with --out")) from error


def _checked(folder: Path) -> tuple[Plan, tuple[Survey, ...], Checked]:
    plan, surveys = read_site(folder)
    return plan, surveys, check(plan, surveys, date.today())


def _apply_fixes(folder: Path, checked: Checked) -> tuple[Plan, tuple[Survey, ...], Checked]:
    """Write every proposed address into the plan and check it again."""
    fixes = [finding.fix for finding in checked.findings if finding.fix is not None]
    addresses: dict[str, Address] = dict(pair for fix in fixes for pair in fix.addresses)
    for subject, address in addresses.items():
        before = checked.plan.interface_named[subject].address
        print(f"{subject:<24} {'(none)' if before is None else before.text:<15} -> {address}")
    write_all(with_addresses(folder, addresses))
    plan, surveys, corrected = _checked(folder)
    was, now = checked.count(Severity.CONFLICT), corrected.count(Severity.CONFLICT)
    print(f"{was} conflicts before, {now} now; a person must decide the rest: masks, gateways and names")
    return plan, surveys, corrected


def _prove(out: Path) -> RunOutcome:
    """Prove the plan on the simulated bench with a scripted technician."""
    base = run_input(out / "plan", ())
    rig, cables = plant(base.aim, TROUBLE, SEED)
    technician = Technician(rig, cables, confirms=True, behind=hanging(base.aim, cables))
    order = Order(
        plan=out / "plan",
        interface="rig0",
        only=(),
        settings=RunOptions(),
        permit="demonstration",
        link="rig",
        record=out / "run.jsonl",
        capture=None,
        as_json=False,
        quiet=True,
        terse=True,
    )
    return conduct(order, base, order.permit, rig, technician)


def _print_proofs(outcome: RunOutcome) -> None:
    open_ports = [proof for proof in outcome.proofs if proof.verdict is not Verdict.PROVEN]
    lines = to_lines(open_ports, simulated=outcome.simulated)
    print("\nNot proven, and why:\n" + "\n".join(lines))
    print(f"\n{SIMULATED}: {counted(outcome.proofs)}")


def _report(out: Path, checked: Checked, surveys: tuple[Survey, ...]) -> None:
    files = [out / "report.html", out / "findings.csv"]
    report = report_of(checked, surveys, (read_record(out / "run.jsonl"),), date.today())
    for path, kind in kinds_for(files):
        write_atomically(path, kind.write(report))
    for file in ("plan/plan.toml", "run.jsonl", "report.html", "findings.csv"):
        print(f"wrote {out / file}")
