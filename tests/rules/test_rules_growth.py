"""The work of a check grows with the plan and its lists, not with their product, whatever they repeat.

Every count is of Python calls, which is the same on every machine.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path
from types import CodeType, FrameType, ModuleType
from typing import Any

from netcheck.addr import Prefix
from netcheck.plan.read import read_plan
from netcheck.rules.accept import missing_keys
from netcheck.rules.catalogue.acceptance import LONGEST_KEYS
from netcheck.rules.catalogue.hardware import _seen_at
from netcheck.rules.catalogue.subnet import _clash
from netcheck.rules.engine import Checked, check
from netcheck.rules.names import _is, full_name
from netcheck.rules.other_plans import MOST_PARTIES, Elsewhere, OtherPlan, OtherPlans
from netcheck.rules.scene import MOST_DIFFERENT
from netcheck.space import suggest
from netcheck.space.addressing import _Matcher, spans_of
from netcheck.space.occupancy import Gateway
from netcheck.survey.read import read_surveys

TraceFunction = Callable[[FrameType, str, Any], Any]
SIZE = 120
MANY = 8 * SIZE  # calls; a product would be SIZE * SIZE
PLAN = 'format = 1\ninterfaces = "interfaces.csv"\n[site]\nname = "Example"\n'
HALL = '[[subnet]]\nname = "hall"\nprefix = "10.0.0.0/16"\n'
SURVEY = '[[survey]]\nfile = "hosts.csv"\ntaken = 2026-10-28\ncovers = ["10.0.0.0/16"]\n'


def mac(number: int) -> str:
    """Return a MAC of the block for documentation (RFC 9542 section 2.1.1)."""
    return f"00-00-5E-00-53-{number:02X}"


def checked(folder: Path, plan: str, rows: list[str], hosts: list[str], *, twice: bool = False) -> Checked:
    """Check a plan with these rows of interfaces and of site hosts, the titles first; *twice* against an equal plan."""
    (folder / "interfaces.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "hosts.csv").write_text("\n".join(hosts) + "\n", encoding="utf-8")
    (folder / "plan.toml").write_text(PLAN + plan + (SURVEY if hosts else ""), encoding="utf-8")
    read = read_plan(folder)
    others = OtherPlans((OtherPlan(label="other", plan=read),) if twice else ())
    return check(read, read_surveys(read), date(2026, 11, 2), others=others)


def calls_of(function: Callable[..., object], run: Callable[[], object]) -> int:
    """Return how often a function is called while another one runs."""
    calls: list[CodeType] = []

    def count(frame: FrameType, event: str, _: object) -> None:
        if event == "call" and frame.f_code is function.__code__:
            calls.append(frame.f_code)

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        run()
    finally:
        sys.setprofile(before)
    return len(calls)


def steps_in(module: ModuleType, run: Callable[[], object]) -> int:
    """Return how many lines of a module are run, each iteration of a comprehension included."""
    steps = 0

    def count(frame: FrameType, event: str, _: object) -> TraceFunction | None:
        nonlocal steps
        steps += event == "line"
        return count if frame.f_code.co_filename == module.__file__ else None

    before = sys.gettrace()
    sys.settrace(count)
    try:
        run()
    finally:
        sys.settrace(before)
    return steps


def test_one_address_planned_and_listed_many_times(tmp_path: Path) -> None:
    """Each interface is compared with a bounded number of different hosts, and its finding still names the first."""
    rows = ["device,interface,subnet,address", *(f"d{n},cpu,hall,10.0.0.5" for n in range(SIZE))]
    hosts = ["address,mac,name", *(f"10.0.0.5,{mac(n)},h{n}" for n in range(SIZE))]
    found = [one for one in checked(tmp_path, HALL, rows, hosts).findings if one.rule == "taken-on-site"]
    assert [one.subjects for one in found] == [(f"d{n}/cpu",) for n in range(SIZE)]
    assert found[0].message.startswith(f"10.0.0.5 is already used on the site by {mac(0)} h0 (hosts.csv: row 2), ")
    assert found[0].message.endswith("and 44 more; at least 50 different hosts are listed there")
    assert all(len(one.others[0].split(", ")) == MOST_DIFFERENT for one in found)


def test_many_rows_of_one_host_are_one_host(tmp_path: Path) -> None:
    """A host that a list repeats does not hide another one at its address in the last row."""
    rows = ["device,interface,subnet,address,mac", f"plc,cpu,hall,10.0.0.5,{mac(1)}"]
    hosts = ["address,mac,name", *(f"10.0.0.5,{mac(1)},plc" for _ in range(10 * MOST_DIFFERENT)), f"10.0.0.5,{mac(2)},"]
    found = [one for one in checked(tmp_path, HALL, rows, hosts).findings if one.rule == "taken-on-site"]
    assert [one.others for one in found] == [(mac(2),)]


def test_one_name_planned_and_listed_many_times(tmp_path: Path) -> None:
    """The hosts with a name are compared once, and each interface has its finding."""
    rows = ["device,interface,subnet,address,host-name", *(f"d{n},cpu,hall,10.0.1.{n},plc" for n in range(1, SIZE))]
    hosts = ["address,name", *(f"10.0.2.{n},plc" for n in range(1, SIZE))]
    results: list[Checked] = []
    calls = calls_of(full_name, lambda: results.append(checked(tmp_path, HALL, rows, hosts)))
    assert sum(one.rule == "name-taken-on-site" for one in results[0].findings) == SIZE - 1
    assert calls < MANY


def test_one_mac_planned_and_listed_many_times(tmp_path: Path) -> None:
    """The hosts with a MAC are put into words once, and each interface has its finding."""
    rows = ["device,interface,subnet,address,mac", *(f"d{n},cpu,hall,10.0.1.{n},{mac(1)}" for n in range(1, SIZE))]
    hosts = ["address,mac", *(f"10.0.2.{n},{mac(1)}" for n in range(1, SIZE))]
    results: list[Checked] = []
    calls = calls_of(_seen_at, lambda: results.append(checked(tmp_path, HALL, rows, hosts)))
    assert sum(one.rule == "mac-elsewhere" for one in results[0].findings) == SIZE - 1
    assert calls == 1


def test_interfaces_in_the_wrong_subnet(tmp_path: Path) -> None:
    """The subnet that was meant is looked up, not searched among all."""
    subnets = "".join(f'[[subnet]]\nname = "s{n}"\nprefix = "10.0.{n}.0/24"\n' for n in range(SIZE))
    rows = [
        "device,interface,subnet,address,gateway",
        *(f"d{n},cpu,s{n},10.0.{SIZE - n}.5,10.0.{SIZE - n}.1" for n in range(1, SIZE)),
    ]
    results: list[Checked] = []
    calls = calls_of(Prefix.holds, lambda: results.append(checked(tmp_path, subnets, rows, [])))
    wrong = [one for one in results[0].findings if one.rule == "outside-subnet"]
    assert len(wrong) == SIZE - 2  # all but the one in the middle
    assert all("it fits subnet s" in one.message for one in wrong)
    assert calls < 2 * MANY


def test_schemes_with_exact_criteria(tmp_path: Path) -> None:
    """Of many schemes an interface is compared with those that name its kind."""
    schemes = "".join(f'[[scheme]]\nrange = "10.0.{n}.10-10.0.{n}.20"\nkind = "kind-{n}"\n' for n in range(SIZE))
    rows = ["device,interface,subnet,address,kind", *(f"d{n},cpu,hall,10.0.{n}.5,KIND-{n}" for n in range(SIZE))]
    results: list[Checked] = []
    calls = calls_of(_Matcher.fits, lambda: results.append(checked(tmp_path, HALL + schemes, rows, [])))
    assert sum(one.rule == "outside-scheme" for one in results[0].findings) == SIZE
    assert calls < MANY


def test_schemes_of_all_subnets(tmp_path: Path) -> None:
    """The ranges that proposals avoid in a subnet are joined once, not read from each scheme for each subnet."""
    subnets = "".join(f'[[subnet]]\nname = "s{n}"\nprefix = "10.0.{n}.0/24"\n' for n in range(SIZE))
    schemes = "".join(f'[[scheme]]\nrange = ".{n}-.{n + 5}"\nkind = "kind-{n}"\n' for n in range(10, SIZE + 10))
    rows = ["device,interface,subnet", *(f"d{n},cpu,s{n}" for n in range(SIZE))]
    results: list[Checked] = []
    calls = calls_of(spans_of, lambda: results.append(checked(tmp_path, subnets + schemes, rows, [])))
    proposed = [one.fix.addresses[0][1] for one in results[0].findings if one.fix]
    assert len(proposed) == SIZE
    assert not [address for address in proposed if 10 <= address.value & 255 <= SIZE + 14]
    assert calls < MANY


def test_one_gateway_of_many_subnets(tmp_path: Path) -> None:
    """The owners of a gateway's address are put into words as far as they are shown."""
    subnets = "".join(
        f'[[subnet]]\nname = "s{n}"\nprefix = "10.0.{n}.0/24"\ngateway = "10.0.0.1"\n' for n in range(SIZE)
    )
    rows = ["device,interface,subnet,address", *(f"d{n},cpu,s0,10.0.0.1" for n in range(SIZE))]
    results: list[Checked] = []
    calls = calls_of(Gateway.__str__, lambda: results.append(checked(tmp_path, subnets, rows, [])))
    found = [one for one in results[0].findings if one.rule == "is-gateway"]
    assert len(found) == SIZE
    assert found[0].message.endswith("the gateway of subnet s5 and 114 more")
    assert calls < MANY


ZONE = '[[survey]]\nfile = "plant.zone"\ntaken = 2026-10-28\ncovers = ["10.0.0.0/16"]\n'


def test_one_name_with_many_records(tmp_path: Path) -> None:
    """The records of a name are searched once for all interfaces that have it."""
    records = "".join(f"plc IN A 10.0.2.{n}\n" for n in range(1, SIZE))
    (tmp_path / "plant.zone").write_text(f"$ORIGIN plant.example.\n$TTL 60\n{records}", encoding="utf-8")
    rows = ["device,interface,subnet,address,host-name", *(f"d{n},cpu,hall,10.0.1.{n},plc" for n in range(1, SIZE))]
    results: list[Checked] = []
    calls = calls_of(_is, lambda: results.append(checked(tmp_path, HALL + ZONE, rows, [])))
    assert sum(one.rule == "dns-name-elsewhere" for one in results[0].findings) == SIZE - 1
    assert calls < MANY


def test_one_address_with_many_pointers(tmp_path: Path) -> None:
    """Of the PTR records of an address those with the first label of a name are compared with it."""
    records = "".join(f"5.0 IN PTR h{n}.plant.example.\n" for n in range(SIZE))
    (tmp_path / "plant.zone").write_text(f"$ORIGIN 0.10.in-addr.arpa.\n$TTL 60\n{records}", encoding="utf-8")
    rows = ["device,interface,subnet,address,host-name", *(f"d{n},cpu,hall,10.0.0.5,h{n}" for n in range(SIZE))]
    results: list[Checked] = []
    calls = calls_of(_is, lambda: results.append(checked(tmp_path, HALL + ZONE, rows, [])))
    assert all(len(named.own) == 1 and len(named.pointers) == SIZE for named in results[0].in_zones)
    assert calls < MANY


def test_one_finding_with_many_acceptances(tmp_path: Path) -> None:
    """The keys that the entries lack are put into words once, and a message has a bounded length."""
    rows = ["device,interface,subnet,address", *(f"device-{n},cpu,hall,10.0.0.5" for n in range(2 * SIZE))]
    accepted = "".join(
        f'[[accepted]]\nrule = "planned-twice"\nsubject = "device-{n}/cpu"\nby = "IT"\nbecause = "{n}"\n'
        for n in range(2 * SIZE)
    )
    results: list[Checked] = []
    calls = calls_of(missing_keys, lambda: results.append(checked(tmp_path, HALL + accepted, rows, [])))
    wide = [one for one in results[0].findings if one.rule == "accepted-too-wide"]
    assert len(wide) == 2 * SIZE
    assert 'add address = "10.0.0.5" and with = "device-1/cpu, device-2/cpu, ' in wide[0].message
    assert max(len(one.message) for one in wide) < LONGEST_KEYS + 200
    assert calls == 1


def test_one_group_of_each_device(tmp_path: Path) -> None:
    """The devices without a kind that keep their addresses are not searched for each device that needs one."""
    steps = []
    for size in (SIZE, 4 * SIZE):
        rows = [
            "device,interface,subnet,address",
            *(f"a{n},cpu,hall,10.0.{n >> 8}.{n & 255}" for n in range(1, size)),
            *(f"b{n},cpu,hall," for n in range(size)),
        ]
        steps.append(steps_in(suggest, partial(checked, tmp_path, HALL, rows, [])))
    assert steps[1] < 6 * steps[0]


def test_another_plan_with_the_same_values(tmp_path: Path) -> None:
    """Of the interfaces of another plan with one address, name, MAC and switch port, those that are shown are named."""
    rows = [
        "device,interface,subnet,address,mac,host-name,switch-port",
        *(f"d{n},cpu,hall,10.0.0.5,{mac(1)},plc,sw 1" for n in range(SIZE)),
    ]
    results: list[Checked] = []
    calls = calls_of(Elsewhere.__str__, lambda: results.append(checked(tmp_path, HALL, rows, [], twice=True)))
    for rule in ("planned-twice", "mac-planned-twice", "name-planned-twice", "switch-port-twice"):
        found = [one for one in results[0].findings if one.rule == rule and len(one.subjects) == 1]
        assert len(found) == SIZE
        assert found[0].message.endswith("d5/cpu in plan other and 114 more")
        assert len(found[0].others) in (1, MOST_PARTIES)
    assert calls == 4 * 6 * SIZE


def test_another_plan_with_the_same_subnets(tmp_path: Path) -> None:
    """Subnets of another plan that are described alike are compared once with each subnet."""
    subnets = "".join(f'[[subnet]]\nname = "s{n}"\nprefix = "10.0.0.0/16"\n' for n in range(SIZE))
    rows = ["device,interface,subnet,address", "plc,cpu,s0,10.0.0.5"]
    assert calls_of(_clash, lambda: checked(tmp_path, subnets, rows, [], twice=True)) == SIZE
