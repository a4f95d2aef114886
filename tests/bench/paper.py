"""Measures how fast the paper check is, in ratio to a reference: `python tests/bench/paper.py [ROUNDS]`.

Every figure is of a whole process: the processor time that it used, which other work on the machine changes less than
the time on the clock, and the largest memory that it held. Each command runs right after the one that it is compared
with; the table shows the medians of the rounds and of their ratios.
"""

from __future__ import annotations

import csv
import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from random import Random
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[2]))

from netcheck.addr import mac_text, quad
from tests.bench.results import compile_package, publish, rounds

ROOT = Path(__file__).parents[2]
DEMO = str(ROOT / "plans" / "tarn-hollow")
TODAY = ("--today", "2026-11-02")
LARGE, SMALL = (100_000, 1_000_000), (10_000, 100_000)
SUBNET = 2048  # addresses of a subnet, of 10.0.0.0/8, which holds as many interfaces as one could draw: RFC 1918
Row = tuple[str, str, str, str, str]

# The least that can be done: read the same two files and ask a set of integers.
INTEGERS = """
import csv, sys
from socket import AF_INET, inet_pton
def addresses(file):
    with open(sys.argv[1] + "/" + file, newline="") as stream:
        rows = csv.reader(stream)
        column = next(rows).index("address")
        for row in rows:
            yield int.from_bytes(inet_pton(AF_INET, row[column]), "big")
taken = set(addresses("site-hosts.csv"))
print(sum(address in taken for address in addresses("interfaces.csv")))
"""
# The same with the standard library's address objects.
OBJECTS = INTEGERS.replace('int.from_bytes(inet_pton(AF_INET, row[column]), "big")', "ip_address(row[column])").replace(
    "from socket import AF_INET, inet_pton", "from ipaddress import ip_address"
)
# Nothing but reading the list.
ROWS = """
import csv, sys
with open(sys.argv[1] + "/site-hosts.csv", newline="") as stream:
    print(sum(1 for row in csv.reader(stream)))
"""
# The least command that prints one table.
COMMAND = """
import typer
app = typer.Typer(add_completion=False)
@app.command()
def show(name: str = typer.Argument("plan", help="What to show.")) -> None:
    "Print one table."
    from rich.console import Console
    from rich.table import Table
    table = Table("rule", "subject", title="Findings")
    table.add_row("taken-on-site", name)
    Console().print(table)
app()
"""


@dataclass(frozen=True, slots=True)
class Run:
    """One finished process: processor seconds, the most memory in MiB, exit code, and the number of printed lines."""

    seconds: float
    memory: float
    code: int
    lines: int


def run(*words: str) -> Run:
    """Run Python with these words to its end."""
    with tempfile.TemporaryFile() as out:
        process = subprocess.Popen([sys.executable, *words], stdout=out, stderr=out, cwd=ROOT)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        lines = sum(1 for _ in out)
    return Run(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, process.returncode, lines)


def netcheck(*words: str) -> Run:
    """Run netcheck; the benchmark ends if the command fails."""
    done = run("-m", "netcheck", *words)
    if done.code not in (0, 1):
        sys.exit(f"netcheck {' '.join(words)} ended with {done.code}")
    return done


def compared(ours: Callable[[], Run], other: Callable[[], Run], rounds: int) -> tuple[float, float, float]:
    """Return the median seconds of both, run in turns, and the median of their ratios."""
    pairs = [(ours().seconds, other().seconds) for _ in range(rounds)]
    return (
        median(mine for mine, _ in pairs),
        median(theirs for _, theirs in pairs),
        median(mine / theirs for mine, theirs in pairs),
    )


def table(path: Path, titles: str, rows: Iterable[Iterable[object]]) -> None:
    """Write a CSV file."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(titles.split())
        writer.writerows(rows)


def plan(folder: Path, *subnets: str, site: str = "") -> None:
    """Write a plan with its survey; its interfaces are in a table in the same folder."""
    top = f'format = 1\ninterfaces = "interfaces.csv"\n[site]\nname = "Bench"\n{site}\n'
    survey = '[[survey]]\nfile = "site-hosts.csv"\ntaken = 2026-10-28\ncovers = ["10.0.0.0/8"]\n'
    (folder / "plan.toml").write_text(top + "".join(subnets) + survey, encoding="utf-8")


def site(folder: Path, interfaces: int, hosts: int) -> str:
    """A plan with every usual column filled, 100 interfaces a subnet, one in a hundred on a site host's address."""
    folder.mkdir()
    random = Random(interfaces)
    subnets: list[str] = []
    rows: list[tuple[str, ...]] = []
    taken: list[int] = []
    for number in range(interfaces // 100):
        net = (10 << 24) + number * SUBNET
        gateway = quad(net + 1)
        subnets.append(f'[[subnet]]\nname = "s{number}"\nprefix = "{quad(net)}/21"\ngateway = "{gateway}"\n')
        drawn = random.sample(range(net + 2, net + SUBNET - 1), 100 + hosts * 100 // interfaces)
        for value in (*drawn[:99], drawn[100]):
            index = len(rows)
            mac = mac_text(0x00005E000000 + index)
            words = (f"d{index}", "controller", "cpu", f"s{number}", quad(value), "255.255.248.0", gateway, mac)
            rows.append((*words, f"d{index}"))
        taken += drawn[100:]
    random.shuffle(taken)
    listed = ((quad(value), mac_text(0x00005F000000 + index), f"h{index}") for index, value in enumerate(taken))
    plan(folder, *subnets)
    table(folder / "interfaces.csv", "device kind interface subnet address mask gateway mac host-name", rows)
    table(folder / "site-hosts.csv", "address mac name", listed)
    return str(folder)


def scale(folder: Path, rounds: int) -> list[Row]:
    """100,000 interfaces against a million site hosts, and a tenth of both."""
    large, small = site(folder / "large", *LARGE), site(folder / "small", *SMALL)
    runs: list[Run] = []

    def check() -> Run:
        runs.append(netcheck("check", large, *TODAY))
        return runs[-1]

    ours, least, ratio = compared(check, lambda: run("-c", INTEGERS, large), rounds)
    _, objects, slower = compared(check, lambda: run("-c", OBJECTS, large), rounds)
    tenth = median(netcheck("check", small, *TODAY).seconds for _ in range(rounds))
    memory = max(done.memory for done in runs)
    growth = 10 * math.log(sum(LARGE)) / math.log(sum(SMALL))
    reading, rows, times = compared(
        lambda: netcheck("survey", "read", f"{large}/site-hosts.csv"), lambda: run("-c", ROWS, large), rounds
    )
    return [
        ("100,000 interfaces, 1,000,000 hosts: integers in a set", *shown(ours, least, ratio, most=2.5)),
        ("the same: standard-library address objects", *shown(ours, objects, slower, most=1)),
        ("the same: memory", f"{memory:.0f} MiB", "700 MiB", *judged(memory / 700, most=1)),
        ("the same: a tenth of it (n log n)", *shown(ours, tenth, ours / tenth, most=growth)),
        ("1,000,000 hosts read: csv alone", *shown(reading, rows, times, most=3)),
    ]


def start(rounds: int) -> list[Row]:
    """The demo plan and the help, against a command that prints one table."""
    check = compared(lambda: netcheck("check", DEMO, *TODAY), lambda: run("-c", COMMAND), 5 * rounds)
    helping = compared(lambda: netcheck("--help"), lambda: run("-c", COMMAND, "--help"), 5 * rounds)
    return [
        ("`check` of the demo plan: a typer command with a rich table", *shown(*check, most=1.2)),
        ("`--help`: that command's", *shown(*helping, most=1.2)),
    ]


def crowd(folder: Path, wanted: int, taken: int) -> str:
    """Write a /14 in which *taken* addresses are taken and *wanted* interfaces need one."""
    folder.mkdir()
    net = 10 << 24
    drawn = Random(taken).sample(range(net + 2, net + (1 << 18) - 1), taken)
    plan(folder, '[[subnet]]\nname = "hall"\nprefix = "10.0.0.0/14"\ngateway = "10.0.0.1"\n')
    kinds = ("controller", "panel", "drive", "module")
    rows = ((f"d{number // 2}", kinds[number // 2 % 4], f"i{number % 2}", "hall") for number in range(wanted))
    table(folder / "interfaces.csv", "device kind interface subnet", rows)
    table(folder / "site-hosts.csv", "address", ((quad(value),) for value in drawn))
    return str(folder)


def suggesting(folder: Path) -> Row:
    """10,000 addresses in a /14 with 200,000 taken."""
    done = netcheck("suggest", crowd(folder / "crowd", 10_000, 200_000), *TODAY)
    return "suggest 10,000 in a /14 with 200,000 taken", f"{done.seconds:.2f} s", "10 s", *judged(done.seconds / 10, 1)


def bad_rows(folder: Path) -> list[Row]:
    """A list whose million rows are all unreadable, and a table of interfaces in which every row has one fault."""
    place = folder / "bad"
    place.mkdir()
    plan(place, '[[subnet]]\nname = "hall"\nprefix = "10.0.0.0/14"\n')
    table(place / "interfaces.csv", "device interface subnet address", [("plc", "cpu", "hall", "10.0.0.5")])
    table(place / "site-hosts.csv", "address mac", ((f"10.0.{number}.300", "no mac") for number in range(1_000_000)))
    list_of_hosts = netcheck("check", str(place), *TODAY)
    table(
        place / "interfaces.csv",
        "device interface subnet",
        ((f"d{number}", "cpu", "hallway") for number in range(800_000)),
    )
    table(place / "site-hosts.csv", "address", [("10.0.0.9",)])
    interfaces = run("-m", "netcheck", "check", str(place), *TODAY)
    return [
        (f"{what}: {done.lines} lines", f"{done.seconds:.2f} s", "30 s", *judged(done.seconds / 30, most=1))
        for what, done in (
            ("1,000,000 unreadable rows of a survey", list_of_hosts),
            ("800,000 interfaces with a fault each", interfaces),
        )
    ]


def shown(ours: float, other: float, ratio: float, most: float) -> tuple[str, str, str, str]:
    """Seconds of both, their ratio, and whether it is where it should be."""
    return f"{ours:.2f} s", f"{other:.2f} s", *judged(ratio, most)


def judged(ratio: float, most: float) -> tuple[str, str]:
    """A ratio and whether it is where it should be."""
    return f"{ratio:.2f}", f"at most {most:.3g}: " + ("ok" if ratio <= most else "MISSED")


def main() -> int:
    """Measure all and print one table; 1 where a target is missed."""
    compile_package()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [*start(rounds(3)), *scale(folder, rounds(3)), suggesting(folder), *bad_rows(folder)]
    publish("Paper check", ["what: compared with", "netcheck", "other", "ratio", "target"], rows)
    return any(row[-1].endswith("MISSED") for row in rows)


if __name__ == "__main__":
    sys.exit(main())
