"""Makes the files of a plan from a device list, and the text that says how the list was read."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import count
from pathlib import Path

from netcheck.errors import Problem, UsageError
from netcheck.files import FileError
from netcheck.intake.columns import ListLayout, layout_of, untitled_layout_of
from netcheck.intake.rows import MOST_ROWS, IntakeRemarks, ListedInterface, interfaces_in, tables_in
from netcheck.intake.subnets import (
    UNKNOWN,
    ListedSubnet,
    PlacedInterface,
    mask_text,
    placed_in_subnets,
    routers_of,
    unreadable_in,
    with_interface_names,
    with_short_addresses,
    with_units,
    without_repeats,
)
from netcheck.plan.forms.csv_table import title_of
from netcheck.plan.shape_problems import keys_of
from netcheck.plan.shapes import FORMAT, InterfaceRow
from netcheck.survey.readers.header import plain_title
from netcheck.tables.delimited import guarded
from netcheck.text import listed, natural_key, safe

INTERFACES_FILE = "interfaces.csv"
COLUMNS = (
    *("device", "kind", "place", "interface", "slot", "subnet", "address", "mask", "gateway", "mac", "host-name"),
    *("switch-port", "ports", "description", "remark"),
)
_LONGEST = 1000  # characters of a cell that are kept
_FIRST = 60  # remarks of one kind that are printed; the rest are counted


@dataclass(frozen=True, slots=True)
class Intake:
    """The content of a device list: the site's name, the tables, the subnets, the interfaces and the remarks."""

    name: str
    tables: tuple[str, ...]
    subnets: tuple[ListedSubnet, ...]
    interfaces: tuple[PlacedInterface, ...]
    remarks: IntakeRemarks
    routers: Mapping[str, Sequence[str]] = field(default_factory=dict)  # by name: interfaces as address/length


def intake_from(paths: Sequence[Path], mapped: Mapping[str, str]) -> Intake:
    """Read one device list or several; UsageError if one of them is not a device list.

    `mapped` is the field of each title that `--map` names.
    """
    remarks = IntakeRemarks()
    tables: list[str] = []
    interfaces: list[ListedInterface] = []
    serial = count(1)
    titles: set[str] = set()
    for path in paths:
        file = f"{safe(path.name)}, " if len(paths) > 1 else ""
        try:
            known: set[str] = set()
            found = list(_interfaces_of(path, file, mapped, tables, remarks, serial, known))
        except FileError as error:
            raise UsageError(error.at(safe(str(path)))) from error
        if not found:
            do = 'Name its columns, for example --map "Tag=device" --map "IP=address"; without titles, --map "1=device"'
            raise UsageError(Problem("it has no recognisable table of devices", safe(str(path)), do))
        interfaces += found
        titles |= known
        if len(interfaces) > MOST_ROWS:
            what = f"it has {len(interfaces):,} interfaces; at most {MOST_ROWS:,} are read"
            raise UsageError(Problem(what, safe(str(path)), "Split it, or leave columns out with --map TITLE=-"))
    if unused := [title for title in mapped if title not in titles]:
        do = f"The titles, reduced to letters and digits, are {listed(sorted(filter(None, titles)), 20)}"
        raise UsageError(Problem(f'--map: no table has the title "{safe(unused[0], 60)}"', do=do))
    single = list(without_repeats(with_short_addresses(interfaces, remarks), remarks))
    whole = with_interface_names(with_units(single, remarks), remarks)
    subnets, placed = placed_in_subnets(whole, remarks)
    routers = routers_of(placed, subnets, remarks)
    remarks.unread += [text for one in whole for text in unreadable_in(one)]
    return Intake(paths[0].stem, tuple(tables), tuple(subnets), tuple(placed), remarks, routers)


def _interfaces_of(
    path: Path,
    file: str,
    mapped: Mapping[str, str],
    tables: list[str],
    remarks: IntakeRemarks,
    serial: Iterator[int],
    known: set[str],
) -> Iterator[ListedInterface]:
    """Yield the interfaces of one list; its titles are added to `known`. `file` precedes every position in the list."""
    sheets = [(sheet, list(records)) for sheet, records in tables_in(path, file, remarks)]
    layouts = [layout_of(records, mapped) for _, records in sheets]
    if not any(layouts):
        layouts = [untitled_layout_of(records, mapped) for _, records in sheets]
    for (sheet, records), layout in zip(sheets, layouts, strict=True):
        name = f'{file}sheet "{safe(sheet, 40)}"' if sheet else safe(path.name)
        if layout is None:
            remarks.unread.append(f"{name}: it has no row with titles of a device list; it is left out")
            continue
        remarks.guessed += [f"{name}: {guess}" for guess in layout.guessed]
        numbers = range(1, 1 + max(len(record.cells) for record in records))
        known |= set(map(plain_title, layout.titles)) if layout.row else set(map(str, numbers))
        titles = f"titles in row {layout.row}" if layout.row else "no row of titles"
        tables += [f"{name}: {titles}", *_columns(layout)]
        yield from interfaces_in(records, layout, f"{name}, " if sheet or file else "", remarks, serial)


def _columns(layout: ListLayout) -> Iterator[str]:
    """Yield lines that say how the columns of a table were read."""
    named = {column: name for name, column in layout.fields.items()}
    for one in layout.addresses:
        named |= {one.address: "address", one.mask: "mask", one.gateway: "gateway", one.mac: "mac"}
    named[layout.switch_port_number] = "switch-port"
    named.pop(-1, None)
    yield from (f'  "{safe(layout.title(column), 40)}" is {named[column]}' for column in sorted(named))
    kept = (at for at, title in enumerate(layout.titles) if title and at not in named and at not in layout.ignored)
    others = [f'"{safe(layout.titles[at], 30)}"' for at in kept]
    if out := [f'"{safe(layout.title(at), 30)}"' for at in sorted(layout.ignored)]:
        yield f"  left out: {listed(out, 20)}"
    if others:
        yield f"  kept under their titles: {listed(others, 20)}"


def plan_files(intake: Intake) -> dict[str, str]:
    """Return the texts of a plan's files by file name; `plan.toml` is the last."""
    subnets = "".join(map(_subnet_text, intake.subnets))
    routers = "".join(_router_text(name, links) for name, links in intake.routers.items())
    plan = f"""# Made from a device list. Add the site's own lists of hosts as [[survey]], then run: netcheck check

format = {FORMAT}
interfaces = "{INTERFACES_FILE}"

[site]
name = {_quoted(intake.name)}
revision = "A"
{subnets}{routers}"""
    return {INTERFACES_FILE: _table(intake.interfaces), "plan.toml": plan}


def _subnet_text(subnet: ListedSubnet) -> str:
    lines = ["", "[[subnet]]", f"name = {_quoted(subnet.name, _LONGEST)}"]
    lines.append(f'prefix = "{subnet.prefix or UNKNOWN}"')
    lines += [f'gateway = "{subnet.gateway}"'] if subnet.gateway else []
    lines += [f"vlan = {int(subnet.vlan)}"] if subnet.vlan else []
    return "\n".join((*lines, ""))


def _router_text(name: str, links: Sequence[str]) -> str:
    return f"\n[[router]]\nname = {_quoted(name, _LONGEST)}\ninterfaces = {json.dumps(list(links))}\n"


def _quoted(text: str, limit: int = 400) -> str:
    # `safe` removes every character that TOML would escape in another way than JSON.
    return json.dumps(safe(text, limit), ensure_ascii=False)


def _table(interfaces: Sequence[PlacedInterface]) -> str:
    titles = extra_titles(interfaces)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow((*COLUMNS, *map(guarded, titles.values())))
    for one in interfaces:
        row = row_of(one, titles)
        writer.writerow([guarded(row.get(title, "")) for title in (*COLUMNS, *titles.values())])
    return out.getvalue()


def extra_titles(interfaces: Iterable[PlacedInterface]) -> dict[str, str]:
    """Return the titles under which further columns are written, by their titles in the list.

    A written title differs from every key of the plan.
    """
    known = keys_of(InterfaceRow)
    missing = [key for key in known if key not in COLUMNS]
    titles: dict[str, str] = {}
    for title in dict.fromkeys(title for one in interfaces for title, _ in one.interface.extra):
        key = title_of(title)
        taken = key in known or get_close_matches(key[:100], missing, 1, 0.8)
        titles[title] = safe(f"list: {title}" if taken else title, 200)
    return titles


def row_of(one: PlacedInterface, titles: Mapping[str, str]) -> dict[str, str]:
    """Return the cells of an interface by title; `titles` is the result of `extra_titles`."""
    interface = one.interface
    row = {title: interface.values.get(title, "") for title in COLUMNS}
    row |= {"device": interface.device, "interface": interface.interface, "subnet": one.subnet}
    row |= {"address": interface.address, "mask": mask_text(interface), "gateway": interface.gateway}
    row["mac"] = interface.mac
    for title, text in interface.extra:
        written = titles[title]
        row[written] = f"{row[written]}; {text}" if row.get(written) else text
    return {title: safe(text, _LONGEST) for title, text in row.items()}


def sheets_of(intake: Intake) -> dict[str, list[dict[str, object]]]:
    """Return the rows of a plan's workbook by sheet."""
    titles = extra_titles(intake.interfaces)
    subnets: list[dict[str, object]] = []
    for subnet in intake.subnets:
        row: dict[str, object] = {"name": safe(subnet.name, _LONGEST), "prefix": str(subnet.prefix or UNKNOWN)}
        row |= {"gateway": subnet.gateway} if subnet.gateway else {}
        row |= {"vlan": int(subnet.vlan)} if subnet.vlan else {}
        subnets.append(row)
    rows = ({title: text for title, text in row_of(one, titles).items() if text} for one in intake.interfaces)
    site: list[dict[str, object]] = [{"key": "name", "value": safe(intake.name)}, {"key": "revision", "value": "A"}]
    routers: list[dict[str, object]] = [
        {"name": safe(name, _LONGEST), "interfaces": ", ".join(links)} for name, links in intake.routers.items()
    ]
    return {"site": site, "subnets": subnets, "interfaces": [dict(row) for row in rows], "routers": routers}


def to_text(intake: Intake) -> str:
    """Return the report on a list: how it was read, what was guessed, and what was not read."""
    unplaced = sum(not one.interface.address for one in intake.interfaces)
    devices = len({one.interface.device for one in intake.interfaces})
    subnets = _count(len(intake.subnets), "subnet")
    lines = [
        *intake.tables,
        f"{_count(len(intake.interfaces), 'interface')} of {_count(devices, 'device')}, {unplaced} without an address, "
        f"in {subnets}: {', '.join(map(_shown, intake.subnets))}",
        *_listed("Guessed, please check:", sorted(intake.remarks.guessed, key=natural_key)),
        *_listed("Not read:", sorted(intake.remarks.unread, key=natural_key)),
    ]
    return "\n".join(lines)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _shown(subnet: ListedSubnet) -> str:
    return f"{safe(subnet.name, 60)} ({subnet.prefix or 'prefix not known'})"


def _listed(title: str, remarks: Sequence[str]) -> list[str]:
    if not remarks:
        return []
    rest = len(remarks) - _FIRST
    return ["", title, *(f"  {one}" for one in remarks[:_FIRST]), *([f"  and {rest} more"] if rest > 0 else [])]
