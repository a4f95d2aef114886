"""Writes the setting sheet: the values to type into each device, boxes for initials and date, and labels to cut out.

One HTML file for printing. Values and policy are as on the page of the report; there is no script.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from netcheck import __version__
from netcheck.addr import Address, Mask
from netcheck.answers.table import NEVER_ACCEPTED
from netcheck.caution import CAUTION
from netcheck.plan.model import Cell, Interface, Subnet
from netcheck.report.html.page import MANY, TABLE, TEMPLATES, digest, environment, page_header
from netcheck.report.words import plan_headline
from netcheck.rules.catalogue.conversation import NO_WAY_BACK, NO_WAY_THERE
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Severity
from netcheck.space.addressing import interfaces_by_family

MOST_TOGETHER = 4  # interfaces of one device that fit on one page, if all are dual-stack and in conflict


@dataclass(frozen=True, slots=True)
class Setting:
    """One value to type in; `from_subnet` is True if it comes from the subnet, not from the device's row."""

    name: str
    value: str
    from_subnet: bool = False


@dataclass(frozen=True, slots=True)
class Face:
    """One interface with its values; `stops` are the conflicts that forbid setting it."""

    interface: Interface
    settings: tuple[Setting, ...]
    stops: tuple[str, ...]
    accepted: tuple[str, ...] = ()  # conflicts that the site has accepted

    @property
    def placed(self) -> bool:
        """Return whether it has a readable address."""
        return self.interface.address is not None and self.interface.address.value is not None


@dataclass(frozen=True, slots=True)
class SheetBlock:
    """One device with its interfaces in plan order."""

    device: str
    kind: str
    where: str
    faces: tuple[Face, ...]

    @property
    def long(self) -> bool:
        """Return whether the device may need more than one page; each interface then repeats the device's name."""
        return len(self.faces) > MOST_TOGETHER


def to_sheet(checked: Checked, today: date) -> bytes:
    """Return the sheet as UTF-8; the same plan and date give the same bytes."""
    style = (TEMPLATES / "sheet.css").read_text("utf-8") + page_header(checked.plan)
    values = {
        "plan": checked.plan,
        "today": today,
        "version": __version__,
        "blocks": blocks_of(checked),
        "headline": plan_headline(checked),
        "caution": CAUTION,
        "many": MANY,
        "table_rows": TABLE,
        "style": Markup(style),
        "style_hash": digest(style),
    }
    return environment().get_template("sheet.html").render(values).encode("utf-8")


def blocks_of(checked: Checked) -> tuple[SheetBlock, ...]:
    """Return every device of the plan with its settings."""
    stops, accepted = _stops(checked), _accepted(checked)
    faces: dict[str, list[tuple[Interface, Subnet]]] = {}
    for interface, subnet in interfaces_by_family(checked.plan):
        faces.setdefault(interface.subject, []).append((interface, subnet))
    devices: dict[str, list[Face]] = {}
    typed = _with_typed_gateway(checked.plan.interfaces)
    for interface in checked.plan.interfaces:
        own_only = bool(typed.get(interface.device, set()) - {interface.subnet})
        settings = tuple(
            each for face, subnet in faces[interface.subject] for each in _settings(face, subnet, own_only=own_only)
        )
        own = (*settings, *_named(interface))
        face = Face(interface, own, tuple(stops.get(interface.subject, ())), tuple(accepted.get(interface.subject, ())))
        devices.setdefault(interface.device, []).append(face)
    return tuple(
        SheetBlock(device, several[0].interface.kind, several[0].interface.location, tuple(several))
        for device, several in devices.items()
    )


def _stops(checked: Checked) -> dict[str, dict[str, None]]:
    """Return by subject the conflicts that forbid setting the interface.

    A failing conversation stops only the end whose setting must change. It stops neither end if a router must change.
    """
    held: dict[tuple[str, ...], tuple[str, ...]] = {
        (talk.conversation.source, talk.conversation.target, rule): walk.to_change
        for talk in checked.conversations
        for rule, walk in ((NO_WAY_THERE.slug, talk.there), (NO_WAY_BACK.slug, talk.back))
    }
    stops: dict[str, dict[str, None]] = {}
    unusable = [each.finding for each in checked.accepted if each.finding.rule in NEVER_ACCEPTED]
    for finding in (*checked.findings, *unusable):
        if finding.severity is Severity.CONFLICT:
            for subject in held.get((*finding.subjects, finding.rule), finding.subjects):
                stops.setdefault(subject, {})[f"{finding.rule}: {finding.message}"] = None
    return stops


def _accepted(checked: Checked) -> dict[str, list[str]]:
    """Return by subject the conflicts that the site has accepted, in words, with the name of who accepted them."""
    words: dict[str, list[str]] = {}
    for each in checked.accepted:
        finding = each.finding
        if finding.severity is Severity.CONFLICT and finding.rule not in NEVER_ACCEPTED:
            for subject in finding.subjects:
                words.setdefault(subject, []).append(
                    f"{finding.rule}: {finding.message}; accepted by {each.by}: {each.because}"
                )
    return words


def _with_typed_gateway(interfaces: Iterable[Interface]) -> dict[str, set[str]]:
    """Return by device the subnets of the interfaces whose row of the plan has a gateway."""
    typed: dict[str, set[str]] = {}
    for interface in interfaces:
        if interface.gateway is not None:
            typed.setdefault(interface.device, set()).add(interface.subnet)
    return typed


def _settings(face: Interface, subnet: Subnet, *, own_only: bool) -> Iterator[Setting]:
    """Yield address, mask and gateway of one family, the values that `--settings` checks on site.

    With *own_only* the subnet's gateway is not used: the plan gives the device a gateway in another subnet, and a
    device with two default gateways may use either.
    """
    address = face.address.value if face.address else None
    family = " (IPv6)" if address is not None and address.family == 6 else ""
    if face.dhcp and face.address is None:  # mask and gateway come from the server as well
        yield Setting("address", "automatic (DHCP)")
        yield Setting("subnet", subnet.name)
        yield Setting("VLAN", "" if subnet.vlan is None else str(subnet.vlan))
        return
    yield Setting(f"address{family}", _text(face.address))
    if family:
        yield Setting("prefix length", *_mask(face, subnet))
    else:
        yield Setting("mask", *_mask(face, subnet))
    gateway = face.gateway or (None if own_only else subnet.gateway)
    yield Setting(f"gateway{family}", _text(gateway), from_subnet=face.gateway is None and gateway is not None)
    yield Setting("subnet", subnet.name)
    yield Setting("VLAN", "" if subnet.vlan is None else str(subnet.vlan))


def _mask(face: Interface, subnet: Subnet) -> tuple[str, bool]:
    """Return the mask in dotted form with its length, and whether it comes from the subnet."""
    if face.mask is not None:
        mask = face.mask.value
        return (_mask_text(mask) if mask else face.mask.text), False
    prefix = subnet.prefix.value
    if prefix is None:
        return "", False
    return _mask_text(Mask.from_text(f"/{prefix.length}", prefix.family)), True


def _mask_text(mask: Mask) -> str:
    if mask.family == 6 or mask.length is None:
        return str(mask)
    return f"{mask} (/{mask.length})"


def _named(interface: Interface) -> Iterator[Setting]:
    yield Setting("host name", interface.host_name.text if interface.host_name else "")
    yield Setting("switch port", interface.switch_port.text if interface.switch_port else "")
    yield Setting("MAC on the nameplate", str(interface.mac.value or interface.mac.text) if interface.mac else "")


def _text(cell: Cell[Address] | None) -> str:
    return "" if cell is None else str(cell.value or cell.text)
