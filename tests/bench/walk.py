"""What a walk over 500 ports costs, and how soon a pulled cable is noticed: `python tests/bench/walk.py`, as root.

The command runs on the raw link at the default pace in a namespace; the devices are one process in another. Printed are
the command's own processor seconds as a share of one core, and the seconds from the pull to the word `silent`.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))


from tests.bench.results import publish
from tests.lab.netns import Lab, why_not
from tests.lab.responder import respond

PLAN = 'format = 1\n[site]\nname = "Bench"\n[[subnet]]\nname = "hall"\nprefix = "198.18.0.0/16"\n'
DEVICE = (
    '[[device]]\nname = "d{n}"\n  [[device.interface]]\n  name = "lan"\n  subnet = "hall"\n  address = "{address}"\n'
)


def plan_of(folder: Path, count: int) -> Path:
    """Write a plan of *count* devices; 198.18.0.0/15 is for benchmarks (RFC 2544)."""
    text = PLAN + "".join(DEVICE.format(n=n, address=f"198.18.{1 + n // 200}.{1 + n % 200}") for n in range(count))
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return folder


def hosts_of(numbers: list[int]) -> list[dict[str, object]]:
    """Healthy devices for the responder."""
    return [
        {"address": f"198.18.{1 + n // 200}.{1 + n % 200}", "mac": f"02-00-00-01-{n >> 8:02X}-{n & 255:02X}"}
        for n in numbers
    ]


def walk(lab: Lab, count: int, seconds: int, pull_at: float | None) -> tuple[float, float | None]:
    """Run a walk; return its processor share of one core, and how long after the pull it was noticed."""
    station, switch, hall, panel = (lab.namespace(name) for name in ("station", "switch", "hall", "panel"))
    lab.veth((station, "eth0"), (switch, "p0"), macs=("00-00-5E-00-53-01", "02-00-00-00-00-01"))
    lab.veth((hall, "eth0"), (switch, "p1"), macs=("02-00-00-00-00-0A", "02-00-00-00-00-02"))
    lab.veth((panel, "eth0"), (switch, "p2"), macs=("02-00-00-00-00-0B", "02-00-00-00-00-03"))
    lab.bridge(switch, "br0", ["p0", "p1", "p2"])
    lab.address(station, "eth0", "198.18.0.1/16")
    respond(lab, hall, "eth0", *hosts_of(list(range(1, count))), lifetime=seconds + 60)
    respond(lab, panel, "eth0", *hosts_of([0]), lifetime=seconds + 60)
    with tempfile.TemporaryDirectory() as folder:
        plan = plan_of(Path(folder), count)
        words = ["walk", str(plan), "-i", "eth0", "--permit", "bench", "--for", str(seconds), "--format", "json"]
        command = ["ip", "netns", "exec", station, sys.executable, "-m", "netcheck", *words]
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        began = time.monotonic()
        process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        noticed: list[float] = []
        threading.Thread(target=_listen, args=(process, noticed), daemon=True).start()
        pulled = None
        if pull_at is not None:
            time.sleep(pull_at)
            pulled = time.monotonic()
            lab.down(panel, "eth0")
        assert process.stdout is not None
        json.loads(process.stdout.read())
        process.wait()
        took = time.monotonic() - began
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent / took, noticed[0] - pulled if noticed and pulled else None


def _listen(process: subprocess.Popen[str], noticed: list[float]) -> None:
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith("silent"):
            noticed.append(time.monotonic())


def main() -> None:
    """Print the table; exit 1 where a target is missed."""
    if reason := why_not():
        sys.exit(f"this benchmark needs a laboratory: {reason}")
    with Lab("ncb") as lab:
        share, _ = walk(lab, 500, 60, None)
    with Lab("ncb") as lab:
        share_100, noticed = walk(lab, 100, 70, 55.0)
    rows = [
        ("500 ports, processor share of one core", f"{share:.0%}", "under 50%"),
        ("100 ports, processor share of one core", f"{share_100:.0%}", ""),
        ("100 ports, a pulled cable noticed after", "not" if noticed is None else f"{noticed:.1f} s", "3 s"),
    ]
    publish("Walk", ["what", "measured", "target"], rows)
    sys.exit(0 if share < 0.5 and noticed is not None and noticed <= 3 else 1)


if __name__ == "__main__":
    main()
