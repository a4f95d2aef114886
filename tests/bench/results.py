"""Prints a benchmark's table and, with `--write` on the command line, puts it into its section of `RESULTS.md`.

`RESULTS.md` holds one section a benchmark, in alphabetical order. Nobody edits it by hand: a figure in it was measured.
"""

from __future__ import annotations

import compileall
import os
import platform
import re
import subprocess
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tabulate import tabulate

RESULTS = Path(__file__).with_name("RESULTS.md")
HEAD = """# Measured

Written by the scripts of this folder (`python tests/bench/NAME.py --write`); do not edit it by hand.
"""


def compile_package() -> None:
    """Compile the package, as an installer does; otherwise each process compiles it if Python may not write a cache."""
    compileall.compile_dir(str(RESULTS.parents[2] / "netcheck"), quiet=1)


def rounds(default: int) -> int:
    """Return the number of rounds that the command line asks for, else `default`."""
    return next((int(word) for word in sys.argv[1:] if word.isdigit()), default)


def publish(section: str, headers: Sequence[str], rows: Sequence[Sequence[object]], *notes: str) -> None:
    """Print the table with its notes; with `--write`, replace the section of this name in `RESULTS.md` as well."""
    print(tabulate(rows, headers=headers, disable_numparse=True))
    for note in notes:
        print(note)
    if "--write" in sys.argv[1:]:
        table = tabulate(rows, headers=headers, tablefmt="github", disable_numparse=True)
        body = "\n\n".join((_conditions(), table, *notes))
        old = RESULTS.read_text(encoding="utf-8") if RESULTS.exists() else HEAD
        RESULTS.write_text(with_section(old, section, body), encoding="utf-8")


def with_section(text: str, section: str, body: str) -> str:
    """Return the text of `RESULTS.md` with this section's body replaced, or added in alphabetical order."""
    head, *parts = re.split(r"^## ", text, flags=re.MULTILINE)
    sections = {title: rest for title, _, rest in (part.partition("\n") for part in parts)}
    sections[section] = f"\n{body}\n"
    ordered = (f"## {title}\n{sections[title].rstrip()}\n" for title in sorted(sections))
    return "\n".join((head.rstrip() + "\n", *ordered))


def _conditions() -> str:
    """Return when, at which commit and on what kind of machine this run was made."""
    asked = subprocess.run(
        ["git", "describe", "--always"], capture_output=True, text=True, check=False, cwd=RESULTS.parent
    )
    day = datetime.now(UTC).date().isoformat()
    return (
        f"{day}, commit {asked.stdout.strip() or 'unknown'}, {os.cpu_count()} cores, "
        f"{platform.system()} {platform.release()}, Python {platform.python_version()}."
    )
