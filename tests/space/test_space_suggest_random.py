"""Random plans: after proposals are written, nothing is left to propose, no finding is new, one line each changed."""

from __future__ import annotations

import csv
import random
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from netcheck.plan.read import read_plan
from netcheck.plan.write.addresses import with_addresses, write_all
from netcheck.rules.engine import check, propose_addresses
from netcheck.survey.read import read_surveys

TODAY = date(2026, 11, 27)
TITLES = ("device", "kind", "place", "interface", "subnet", "address", "mask", "gateway", "mac", "host-name", "granted")
# Findings that any address would cause: the subnet becomes fuller, or the site lists the MAC or the name at another
# address. Also notes that the site lists the address for the device.
OF_ANY_ADDRESS = {"crowded", "mac-elsewhere", "name-taken-on-site", "already-there", "reservation-made"}
KINDS = ("drive", "panel", "controller", "")


def octets(number: int) -> str:
    """Return the text of an address of 10.62.0.0/16."""
    return f"10.62.{number >> 8}.{number & 255}"


class Draw:
    """A plan and a survey as rows, drawn from one seed."""

    def __init__(self, seed: int) -> None:
        self.random = pick = random.Random(seed)
        self.lengths = [pick.choice((24, 24, 26, 28, 29, 23)) for _ in range(pick.randint(1, 3))]
        self.starts = [1024 * number for number in range(len(self.lengths))]
        self.interfaces = [self._interface(number) for number in range(pick.randint(3, 14))]
        self.hosts = [self._host() for _ in range(pick.randint(0, 25))]

    def _within(self, net: int, *, wide: bool = False) -> str:
        size = 1 << (32 - self.lengths[net])
        return octets(self.starts[net] + self.random.randrange(size + 40 if wide else size))

    def _interface(self, number: int) -> list[str]:
        pick = self.random
        net = pick.randrange(len(self.starts))
        some = self._within(net, wide=pick.random() < 0.2)
        address = pick.choice((some, some, some, "", "tbd", "dhcp", f"{some}, {self._within(net)}", "10.62.0.007"))
        mask = pick.choice(("", f"/{self.lengths[net]}", "255.255.255.0"))
        gateway = pick.choice(("", octets(self.starts[net] + 1)))
        mac = pick.choice(("", f"00-00-5E-00-53-{number:02X}"))
        name = pick.choice(("", f"plc-{number}"))
        granted = pick.choice(("", "", "", "site IT"))
        device = f"d{number // pick.choice((1, 1, 2))}"
        return [device, pick.choice(KINDS), f"panel {number % 3}", f"x{number}", f"net-{net}", address, mask, gateway,
                mac, name, granted]  # fmt: skip

    def _host(self) -> list[str]:
        pick = self.random
        known = [row for row in self.interfaces if row[5].startswith("10.") and "," not in row[5]]
        like = pick.choice(known) if known and pick.random() < 0.4 else None
        address = like[5] if like else self._within(pick.randrange(len(self.starts)))
        mac = pick.choice((like[8] if like else "", "", f"00-00-5E-00-53-{pick.randrange(128, 255):02X}"))
        return [address, mac, pick.choice((like[9] if like else "", "", f"host-{pick.randrange(99)}"))]

    def subnets(self) -> list[dict[str, str]]:
        """Return rows of subnets, some with a pool, a reserved range and a gateway."""
        pick = self.random
        rows = []
        for number, (start, length) in enumerate(zip(self.starts, self.lengths, strict=True)):
            size = 1 << (32 - length)
            low = pick.randrange(size)
            span = f"{octets(start + low)}-{octets(start + min(size - 1, low + pick.randrange(30)))}"
            row = {"name": f"net-{number}", "prefix": f"{octets(start)}/{length}"}
            row |= {"gateway": octets(start + 1)} if pick.random() < 0.8 else {}
            row |= {pick.choice(("pools", "reserved")): span} if pick.random() < 0.6 else {}
            rows.append(row)
        return rows

    def write(self, folder: Path) -> None:
        """Write the plan with a table of interfaces, and its survey."""
        pick = self.random
        text = f'format = 1\ninterfaces = "interfaces.csv"\n[site]\nname = "x"\nkeep-clear = {pick.choice((0, 2, 4))}\n'
        for row in self.subnets():
            lists = (f'{key} = ["{value}"]' if key in ("pools", "reserved") else f'{key} = "{value}"'
                     for key, value in row.items())  # fmt: skip
            text += "[[subnet]]\n" + "\n".join(lists) + "\n"
        if pick.random() < 0.5:
            low = pick.randrange(100)
            text += f'[[scheme]]\nkind = "drive"\nrange = ".{low}-.{low + pick.randrange(60)}"\n'
        if pick.random() < 0.5:
            text += f'[[station]]\nname = "laptop"\naddress = "{self._within(0)}/{self.lengths[0]}"\n'
        text += '[[survey]]\nfile = "hosts.csv"\ntaken = 2026-11-20\ncovers = ["10.62.0.0/16"]\n'
        (folder / "plan.toml").write_text(text, "utf-8")
        table(folder / "interfaces.csv", [TITLES, *self.interfaces])
        table(folder / "hosts.csv", [("address", "mac", "name"), *self.hosts])


def table(path: Path, rows: Sequence[Sequence[str]]) -> None:
    """Write a CSV table."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream, lineterminator="\n").writerows(rows)


def findings(folder: Path) -> set[tuple[str, str]]:
    """Return rule and subject of each finding."""
    plan = read_plan(folder)
    checked = check(plan, read_surveys(plan), TODAY)
    return {(finding.rule, subject) for finding in checked.findings for subject in finding.subjects}


@pytest.mark.parametrize("seed", range(40))
def test_written_proposals_are_final(tmp_path: Path, seed: int) -> None:
    """A second `suggest` proposes nothing, `check` finds nothing new, and each proposal changed exactly one line."""
    Draw(seed).write(tmp_path)
    before = findings(tmp_path)
    lines = (tmp_path / "interfaces.csv").read_text("utf-8").splitlines()
    plan = read_plan(tmp_path)
    first = propose_addresses(plan, read_surveys(plan), TODAY)
    addresses = {one.subject: one.address for one in first.proposals if one.address is not None}
    write_all(with_addresses(tmp_path, addresses))

    written = (tmp_path / "interfaces.csv").read_text("utf-8").splitlines()
    changed = [(old, new) for old, new in zip(lines, written, strict=True) if old != new]
    assert len(changed) == len(addresses)
    for old, new in changed:
        (was,), (now,) = csv.reader([old]), csv.reader([new])
        subject = f"{now[0]}/{now[3]}"
        assert now == [*was[:5], str(addresses[subject]), *was[6:]]

    again = read_plan(tmp_path)
    second = propose_addresses(again, read_surveys(again), TODAY)
    assert [one.subject for one in second.proposals if one.address is not None] == []
    left = {one.subject for one in first.proposals if not one.keeps} - set(addresses)
    assert {one.subject for one in second.proposals if not one.keeps} == left
    assert [one.subject for one in second.unreadable] == [one.subject for one in first.unreadable]
    allowed = ("since nothing farther is free", "the site has it for the device")
    near = {("too-near", one.subject) for one in first.proposals if any(words in one.why for words in allowed)}
    caused = {one for one in findings(tmp_path) - before if one[0] not in OF_ANY_ADDRESS}
    off = {("gateway-off-link", subject) for rule, subject in before if rule == "mask-differs"}  # the mask causes it
    assert caused - near - off == set()
    assert len({str(address) for address in addresses.values()}) == len(addresses)
