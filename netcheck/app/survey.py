"""Surveys the site: listens on the wire, sends a request to every address of a prefix, or merges lists of hosts.

`identify` uses parts of it.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import islice
from pathlib import Path

from netcheck.addr import Prefix, mac_text, quad
from netcheck.app.prepare import RunInput, demand_interface, demand_survey_file, demand_usable, permit_for, run_input
from netcheck.app.progress import Steps
from netcheck.errors import LinkError, NetcheckError, Problem, SurveyError, UsageError
from netcheck.field.discovery import DiscoveredHost, Discovery
from netcheck.field.listen import Listener, listen
from netcheck.field.sweep import Sweeping, claim, prefix_to_sweep, sender_for
from netcheck.files import write_text_atomically
from netcheck.plan.model import Plan, Position, SurveyEntry
from netcheck.plan.read import read_plan
from netcheck.report.text.merged_survey import Merging, to_csv, to_entry, to_json, to_text
from netcheck.space.coverage import coverage_of
from netcheck.survey.merge import disagreements
from netcheck.survey.model import Survey, hosts_of
from netcheck.survey.read import read_survey
from netcheck.survey.readers.header import FIELDS
from netcheck.text import listed, safe
from netcheck.wire.link import Link
from netcheck.wire.links.open import Kind, kind_from_text, open_link
from netcheck.wire.station import interfaces

PORTABLE = "the portable link receives ARP, DHCP and LLDP only, and no other IPv4"
LISTENING = "listening covers no prefix: a host that sent nothing was not heard, and can have any address"
ANONYMOUS = (
    "this computer has no address in {prefix}, so its ARP requests have the sender 0.0.0.0. A device that checks the "
    "same address at that moment, just after its cable was plugged in, must treat them as a conflict (RFC 5227 section "
    "2.1.1). To avoid that, give this computer an address in the prefix, or name a plan with a station"
)


def today() -> date:
    """Return the date of this computer's clock."""
    return datetime.now().astimezone().date()


@dataclass(frozen=True)
class Known:
    """The hosts that the plan and its surveys name; empty without a plan."""

    base: RunInput | None

    @classmethod
    def by(cls, plan: Path | None) -> Known:
        """Read the plan if one was named."""
        return cls(None if plan is None else run_input(plan, ()))

    @property
    def planned(self) -> dict[int, str]:
        """Return the planned addresses with their interfaces."""
        return {} if self.base is None else self.base.aim.planned

    def of_mac(self, mac: int) -> str:
        """Return the name of a MAC in the plan or the surveys; empty if they do not have it."""
        return "" if self.base is None else self.base.names.known_as(mac)

    def of_address(self, address: int) -> str:
        """Return who has an address by the plan or a survey; empty if unknown."""
        if self.base is None or not address:
            return ""
        if address in self.planned:
            return f"the plan gives {quad(address)} to {self.planned[address]}"
        return f"a survey has {quad(address)}" if self.base.aim.surveyed(address) else ""

    def planned_for(self, mac: int) -> tuple[str, int]:
        """Return the interface that has a MAC in the plan, and its planned address; "" and 0 if there is none."""
        interface = "" if self.base is None else self.base.aim.macs.get(mac, "")
        return interface, next((a for a, one in self.planned.items() if interface and one == interface), 0)

    def of(self, host: DiscoveredHost) -> str:
        """Return the names of a host by MAC and address; one phrase if one interface has both in the plan."""
        by_mac, interface = self.of_mac(host.mac), self.planned.get(host.address)
        if interface is not None and by_mac == f"planned for {interface}":
            return f"{interface}, as planned"
        return "; ".join(filter(None, (by_mac, self.of_address(host.address))))

    @property
    def nets(self) -> list[tuple[int, int]]:
        """Return the plan's IPv4 prefixes as (first, length)."""
        return [] if self.base is None else [(net.first, net.length) for net in self.base.aim.nets]


def terminal_width() -> int | None:
    """Return the width of the terminal; None if standard output is not one, because tables in files are not wrapped."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def vendor_of() -> Callable[[int], str | None]:
    """Return the function that finds a MAC's vendor; it is imported only when hosts are shown."""
    from netcheck.proof.verdict.names import vendor

    return vendor


def finish(found: Discovery, known: Known, out: Path | None, as_json: bool) -> int:
    """Write the survey, print the hosts, and return 1 if an anomaly was found, else 0."""
    from netcheck.files import write_text_atomically
    from netcheck.report.text.hosts import to_csv, to_entry, to_json, to_text

    if out is not None:
        write_text_atomically(out, to_csv(found))
    name = None if out is None else str(out)
    if as_json:
        print(json.dumps(to_json(found, name, vendor_of()), indent=2))
    else:
        print(to_text(found, vendor_of(), known.of, terminal_width()))
        if out is not None:
            print(f"\nwritten to {safe(str(out))}; for the plan:\n\n{to_entry(found, _file_in_plan(out))}")
    return 1 if found.has_faults else 0


def listening_kind(link: str) -> Kind:
    """Return the kind of a link that receives ARP; raise UsageError for the unprivileged link, which does not."""
    if link == "unprivileged":
        raise UsageError(
            Problem("the unprivileged link does not receive ARP", do="Use --link raw as root, or --link portable")
        )
    return kind_from_text(link)


def listen_for_hosts(
    interface: str, seconds: float, out: Path | None, plan: Path | None, link: str, *, as_json: bool
) -> int:
    """Listen for a number of seconds, print the hosts, and return 1 if an anomaly was found, else 0."""
    interface = demand_interface(interface)
    demand_survey_file(out)
    known = Known.by(plan)
    with open_link(listening_kind(link), interface, listens=True) as wire, Steps(round(seconds)) as bar:
        adapter = wire.adapters[0]
        listener = Listener(frozenset({adapter.mac}), [*adapter.addresses, *known.nets])
        begin, why, interrupted = wire.now(), "", False
        print(f"listening on {interface} for {round(seconds)} s; Ctrl-C ends it earlier", file=sys.stderr, flush=True)

        def tick(passed: float) -> None:
            bar.at(round(passed), f"listening on {interface}: hosts {len(listener.hosts)}, frames {listener.frames}")

        try:
            why = listen(wire, listener, seconds, tick)
        except KeyboardInterrupt:
            interrupted = True
        lasted = wire.now() - begin
        notes = [PORTABLE] if wire.kind == "portable" else []
    found = _findings(listener, interface, lasted, "interrupted" if interrupted else why, notes)
    code = finish(found, known, out, as_json)
    if interrupted:
        raise KeyboardInterrupt
    return code


def _findings(listener: Listener, interface: str, seconds: float, why: str, more: list[str]) -> Discovery:
    """Return the hosts that were heard, with notes. *why* is the reason of an early end, or ""."""
    notes = [LISTENING, *more, *([f"it ended early: {why}"] if why else [])]
    notes += listener.notes()
    notes += [f"{quad(one.address)}: {mac_text(one.mac)} {one.by[0]}" for one in listener.wanted()[:20]]
    return Discovery(
        interface=interface,
        day=today(),
        hosts=listener.found(),
        nameless=listener.nameless(),
        notes=tuple(notes),
        seconds=seconds,
        complete=not why,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepOrder:
    """The prefix to sweep and how: `pace` in requests a second, `rounds` of requests to addresses that do not reply."""

    prefix: str
    interface: str
    permit: str
    pace: float
    rounds: int
    really: bool
    out: Path | None
    plan: Path | None
    link: str
    as_json: bool


def sweep_prefix(order: SweepOrder) -> int:
    """Sweep, print the hosts, and return 1 if an anomaly was found, else 0."""
    prefix = prefix_to_sweep(order.prefix, order.really)
    kind = listening_kind(order.link)
    order = replace(order, interface=demand_interface(order.interface))
    demand_survey_file(order.out)
    known = Known.by(order.plan)
    demand_usable(order.interface, known.planned, carrier=True)
    permit_for(order.permit)
    with open_link(kind, order.interface) as wire:
        sender = _sender(wire, prefix, known)
        begin, ended = wire.now(), ""
        elsewhere = {a: one.name for one in interfaces() if one.name != order.interface for a, _ in one.addresses}
        work = Sweeping(wire, prefix, sender, order.pace, order.rounds, frozenset(known.planned), elsewhere)
        with Steps(1) as bar:

            def tick(words: str, done: int, of: int) -> None:
                bar.at(done, f"{words}: {done} of {of}, {len(work.result.answers)} replied", of)

            try:
                work.run(tick)
            except KeyboardInterrupt:
                ended = "interrupted"
        found = work.findings(today(), wire.now() - begin, ended)
    code = finish(found, known, order.out, order.as_json)
    if ended:
        raise KeyboardInterrupt
    return code


def _sender(wire: Link, prefix: Prefix, known: Known) -> int:
    """Return the sender of the ARP requests: an own address, else the plan's station if it is free, else 0."""
    own = sender_for(wire.adapters[0], prefix)
    nets = [] if known.base is None else known.base.aim.nets
    station = next((n.station for n in nets if n.station is not None and n.holds(prefix.value)), 0)
    sender = own or station
    if sender in known.planned:
        do = "Give this computer, or the plan's station, an address that is free"
        raise LinkError.of(f"{quad(sender)}, the sender of the requests, is planned for {known.planned[sender]}", do=do)
    if station and not own:
        print(f"checking that no device has {quad(station)}, to send from it", file=sys.stderr)
        claim(wire, station)
    elif not own:
        print(f"note: {ANONYMOUS.format(prefix=prefix)}", file=sys.stderr)
    return sender


def merge_surveys(
    files: Sequence[Path], out: Path | None, plan: Path | None, maps: Sequence[str] = (), *, as_json: bool
) -> int:
    """Print the contents of each list and the disagreements between lists; write the merged survey to *out*.

    Without *files* the surveys of the plan are read. Returns 1 if a part could not be read or lists disagree. Raises
    SurveyError for files that cannot be read at all, after the other files were printed and written.
    """
    demand_survey_file(out)
    if Path("-") in files:
        raise UsageError.of("standard input is not read", do="Save its text as a file, and name that file")
    base = None if plan is None else read_plan(plan)
    entries = _entries(list(files), base, columns_from(maps))
    surveys, problems = _read(entries, Path(base.folder) if base and not files else Path())
    merging = replace(_merge(surveys, base), failed=tuple(problems))
    if out is not None and surveys:
        _write(merging, out)
    if surveys:
        _print(merging, out, as_json)
    if problems:
        raise SurveyError(*problems)
    return int(merging.needs_correction)


def columns_from(maps: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Read `--map` values such as `Wo=address` as the columns of a survey: (field, title)."""
    columns = []
    for text in maps:
        title, equals, name = text.rpartition("=")
        if not equals or not title.strip() or name.strip() not in FIELDS:
            do = f'Write it as "title=field"; fields are {listed(list(FIELDS), joint="and")}'
            raise UsageError.of(f"--map {safe(text, 60)!r} names no title and field", do=do)
        columns.append((name.strip(), title.strip()))
    return tuple(columns)


def _entries(files: list[Path], plan: Plan | None, columns: tuple[tuple[str, str], ...]) -> list[SurveyEntry]:
    """Return the plan's entry for each file that the plan names, and an entry with defaults for the others."""

    if not files:
        if plan is None or not plan.surveys:
            what = "there is no file to read" if plan is None else "the plan names no survey"
            raise UsageError.of(what, do="Name lists of hosts, for example leases.txt arp.txt")
        return list(plan.surveys)
    named = {} if plan is None else {_same(Path(plan.folder) / one.file): one for one in plan.surveys}
    here = Position("command line")
    fresh = [SurveyEntry(file=str(path), position=here, columns=columns) for path in dict.fromkeys(files)]
    return [named.get(_same(Path(one.file)), one)._replace(file=one.file) for one in fresh]


def _same(path: Path) -> str:
    """Return a text that is equal for two paths of one file."""
    try:
        return str(path.resolve())
    except (OSError, ValueError, RuntimeError):
        return str(path)


def _read(entries: list[SurveyEntry], folder: Path) -> tuple[list[Survey], list[Problem]]:
    """Return the surveys that could be read, and a problem for each file that could not."""
    surveys: list[Survey] = []
    problems: list[Problem] = []
    with Steps(len(entries) + 1) as steps:
        for entry in entries:
            steps.begin(f"reading {safe(entry.file, 60)}")
            try:
                surveys.append(_read_one(entry, folder))
            except NetcheckError as error:
                problems += [Problem(one.what, safe(entry.file), one.do) for one in error.problems]
            steps.end()
    return surveys, problems


def _read_one(entry: SurveyEntry, folder: Path) -> Survey:
    """Read a list with the columns of `--map`, or by its own titles if it does not have those columns."""
    try:
        return read_survey(entry, folder)
    except SurveyError as error:
        own = entry.position.file != "command line" or not error.problems[0].what.startswith("it has no column")
        if own:
            raise
        return read_survey(entry._replace(columns=()), folder)


def _merge(surveys: list[Survey], plan: Plan | None) -> Merging:

    tables = tuple(hosts_of(surveys, island) for island in dict.fromkeys(survey.island for survey in surveys))
    found = (one for table in tables for one in disagreements(table))
    first = tuple(islice(found, 1000))
    evidence = None if plan is None else coverage_of(plan, surveys)
    return Merging(tuple(surveys), tables, first, len(first) + sum(1 for _ in found), evidence)


def _file_in_plan(out: Path) -> str:
    """Return the path of a written survey as a plan names it: from the folder of the plan, if it is in that folder."""
    return out.name if (out.parent / "plan.toml").is_file() else str(out)


def _write(merging: Merging, out: Path) -> None:
    if len(merging.tables) > 1:
        do = "Merge the lists of one island at a time"
        raise UsageError.of("the lists are of several islands, which can use the same addresses", do=do)
    write_text_atomically(out, to_csv(merging))


def _print(merging: Merging, out: Path | None, as_json: bool) -> None:
    if as_json:
        print(json.dumps(to_json(merging, None if out is None else str(out)), indent=2))
        return
    print(to_text(merging))
    if out is not None:
        print(f"\nwritten to {safe(str(out))}; for the plan:\n\n{to_entry(merging, _file_in_plan(out))}")
