"""Builds the inputs of the report's tests: a small plan with its survey, and a record with a proof of every verdict."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from netcheck.addr import Address, Mac
from netcheck.plan.model import row_hashes
from netcheck.plan.read import read_plan
from netcheck.proof.result import Other, Phase, PhaseResult, Proof, Rtt, Tally, Verdict
from netcheck.record.model import Run
from netcheck.record.verify import read_record
from netcheck.record.write import Recorder
from netcheck.report.build import report_of
from netcheck.report.model import Report
from netcheck.rules.engine import Checked, check
from netcheck.survey.model import Survey
from netcheck.survey.read import read_surveys

TODAY = date(2026, 11, 20)
PLAN = """\
format = 1

[site]
name = "Tarn Hollow creamery"
revision = "C"
keep-clear = 4

[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"
pools = ["10.62.20.200-10.62.20.239"]

[[subnet]]
name = "packing"
prefix = "10.62.30.0/24"

[[survey]]
file = "site-hosts.csv"
taken = 2026-11-18
covers = ["10.62.20.0/24"]

[[accepted]]
rule = "too-near"
subject = "silo-io/bus"
address = "10.62.20.80"
with = "00-00-5E-00-53-91"
by = "site IT"
because = "the camera is taken down in week 50"
until = 2026-12-31
"""
HOSTS = """\
address,mac,name
10.62.20.61,00-00-5E-00-53-90,camera-7
10.62.20.82,00-00-5E-00-53-91,camera-8
here be cameras,,
"""
# device/interface, address, last octet of the planned MAC (0 for none), ports
DEVICES = (
    ("pasteuriser-plc/cpu", "10.62.20.61", 0x21, ("1", "2")),
    ("line-panel/lan", "10.62.20.205", 0x22, ("1",)),
    ("separator-drive/lan", "10.62.20.72", 0x23, ("1",)),
    ("homogeniser-drive/lan", "10.62.20.73", 0x24, ("1",)),
    ("cip-plc/cpu", "10.62.20.74", 0x25, ("1",)),
    ("cip-panel/lan", "10.62.20.75", 0x26, ("1",)),
    ("reception-plc/cpu", "10.62.20.150", 0x27, ("1",)),
    ("silo-io/bus", "10.62.20.80", 0x28, ("1",)),
    ("capper-drive/lan", "10.62.20.100", 0x29, ("1",)),
    ("filler-plc/cpu", "10.62.30.70", 0, ("1",)),
)


def plan_text() -> str:
    """Return the plan with all devices."""
    return PLAN + "".join(map(_device, DEVICES))


def _device(entry: tuple[str, str, int, tuple[str, ...]]) -> str:
    subject, address, octet, ports = entry
    device, name = subject.split("/")
    mac = f'  mac = "00-00-5E-00-53-{octet:02X}"\n' if octet else ""
    return (
        f'[[device]]\nname = "{device}"\nplace = "panel 3"\n  [[device.interface]]\n  name = "{name}"\n'
        f'  subnet = "{"packing" if address.startswith("10.62.30") else "process"}"\n'
        f'  address = "{address}"\n{mac}  ports = {list(ports)}\n'
    )


def write_plan(folder: Path, text: str = "") -> Path:
    """Write plan and survey into a folder and return it."""
    folder.mkdir(exist_ok=True)
    (folder / "plan.toml").write_text(text or plan_text(), encoding="utf-8")
    (folder / "site-hosts.csv").write_text(HOSTS, encoding="utf-8")
    return folder


def proof_of(subject: str, verdict: Verdict, why: str, **others: object) -> Proof:
    """Return a proof of a port of the plan, with numbers in its phases."""
    interface, port = subject.split(":")
    _, address, octet, _ = next(entry for entry in DEVICES if entry[0] == interface)
    seen = {
        Phase.IN: PhaseResult(Tally(8, 8), Tally(30, 30), 8.04, Rtt(0.11, 0.214, 0.4)),
        Phase.OUT: PhaseResult(Tally(7, 0), Tally(19, 0), 5.1),
        Phase.BACK: PhaseResult(Tally(3, 3), Tally(9, 9), 3.02, Rtt(0.1, 0.2, 0.3)),
    }
    if verdict is Verdict.SILENT:
        seen = {Phase.IN: PhaseResult(Tally(8, 0), Tally(30, 0), 8.04)}
    mac = Mac.from_text("00-00-5E-00-53-00").value + (octet or 0x77)
    told: dict[str, object] = {
        "mac": None if verdict is Verdict.SILENT else mac,
        "echo": "answered",
        "cable": "operator",
        "connector": "operator",
        "identity": "planned" if octet else "learned",
        "luck": 4.1e-5,
        "phases": tuple(seen.items()),
        **others,
    }
    phases: tuple[tuple[Phase, PhaseResult], ...] = told["phases"]  # type: ignore[assignment]
    told.setdefault("unheard", 0.5 ** sum(result.arp.sent for _, result in phases))
    return Proof(interface=interface, port=port, address=address, verdict=verdict, why=why, **told)  # type: ignore[arg-type]


def a_stranger(octet: int, address: str, phase: str, known_as: str = "") -> Other:
    """Return another MAC that was heard."""
    mac = Mac.from_text("00-00-5E-00-53-00").value + octet
    return Other(mac, Address.from_text(address).value, phase, known_as)


def every_verdict() -> tuple[Proof, ...]:
    """Return one proof for each verdict except `not-tested`, and a proof of a second port of the first interface."""
    camera = a_stranger(0x90, "10.62.20.61", "out", "site host camera-7")
    return (
        proof_of("pasteuriser-plc/cpu:1", Verdict.IMPOSTOR, "With the cable out, 00-00-5E-00-53-90 (site host "
                 "camera-7) answers for 10.62.20.61.", others=(camera,)),
        proof_of("pasteuriser-plc/cpu:2", Verdict.UNSETTLED, "Which connector is not known.", connector="assumed",
                 luck=0.031, phases=((Phase.IN, PhaseResult(Tally(6, 4), Tally(24, 11), 9.0)),)),
        proof_of("line-panel/lan:1", Verdict.SILENT, "Nothing answered for 10.62.20.205 with the cable in.", cable=None,
                 echo=None, connector=None, identity=None, luck=None, unheard=None,
                 phases=((Phase.IN, PhaseResult(Tally(60, 0), Tally(0, 0), 60.0)),)),
        proof_of("separator-drive/lan:1", Verdict.PROVEN, "Answered from one MAC, silent with the cable out, back "
                 "again.", cable="inferred", notes=("The cable was asked for at 09:14:10.",)),
        proof_of("homogeniser-drive/lan:1", Verdict.SWAPPED, "00-00-5E-00-53-25 answers for 10.62.20.73, but is "
                 "planned for cip-plc/cpu: the two devices are swapped."),
        proof_of("cip-plc/cpu:1", Verdict.STILL_ANSWERING, "It never fell silent: the cable was not pulled, or ...",
                 evidence=(("control", "10.62.20.1 answered to the end"),)),
        proof_of("cip-panel/lan:1", Verdict.CONTESTED, "Two MACs all answer for 10.62.20.75 with the cable in.",
                 others=(a_stranger(0x91, "10.62.20.75", "in"),)),
        proof_of("reception-plc/cpu:1", Verdict.PROVEN, "Answered from one MAC, silent with the cable out, back again.",
                 cable="carrier", luck=None, echo="blocked"),
        proof_of("silo-io/bus:1", Verdict.WRONG_HARDWARE, "The plan names another MAC."),
        proof_of("capper-drive/lan:1", Verdict.NOT_BACK, "It answered, fell silent, and did not return."),
    )  # fmt: skip


def clock_from(second: int = 0) -> Callable[[], datetime]:
    """Return a clock that advances by 40 seconds at every call."""
    looks = iter(range(1_000_000))
    return lambda: datetime(2026, 11, 19, 9, 14, 3, tzinfo=UTC) + timedelta(seconds=second + 40 * next(looks))


def write_record(
    path: Path, plan: Path, proofs: tuple[Proof, ...], clock: Callable[[], datetime], *, simulated: bool = False
) -> Path:
    """Write a record of a plan with these proofs and return its path."""
    read = read_plan(plan)
    run = Run(
        plan=read.name,
        revision=read.revision,
        sha256=read.sha256,
        version="0.1.0",
        station="10.62.20.245/24",
        interface="eth0 (raw)",
        permit="work order 118",
    )
    run = replace(run, simulated=simulated)
    with Recorder.open(path, run, row_hashes(read), clock) as recorder:
        for proof in proofs:
            recorder.proof(proof)
        recorder.end({str(verdict): sum(p.verdict is verdict for p in proofs) for verdict in Verdict})
    return path


def report_from(plan: Path, *records: Path, before: Path | None = None) -> Report:
    """Check a plan, and the earlier revision if given, and return the report."""
    checked, surveys = _checked(plan)
    old = _checked(before)[0] if before else None
    return report_of(checked, surveys, tuple(map(read_record, records)), TODAY, old)


def _checked(plan: Path) -> tuple[Checked, tuple[Survey, ...]]:
    read = read_plan(plan)
    surveys = read_surveys(read)
    return check(read, surveys, TODAY), surveys


def large_report(folder: Path, findings: int = 5000, ports: int = 2000) -> Report:
    """Return a report of many findings and proofs, made of those of the small plan with other subjects."""
    plan = write_plan(folder / "tarn-hollow")
    sample = report_from(plan, write_record(folder / "run.jsonl", plan, every_verdict(), clock_from()))
    first = sample.checked.findings
    many = tuple(
        first[n % len(first)]._replace(subjects=(f"machine-{n}/lan", f"machine-{n + 1}/lan")) for n in range(findings)
    )
    proven = tuple(
        replace(port, proof=replace(port.proof, interface=f"machine-{n}/lan"))
        for n in range(ports)
        for port in (sample.ports[n % len(sample.ports)],)
    )
    return replace(sample, checked=replace(sample.checked, findings=many), ports=proven)
