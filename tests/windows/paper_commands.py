"""Runs many office commands one after the other in one process; used on both systems.

    python paper_commands.py FOLDER

The output and the exit code of each command, and all files that it writes, are left in the folder. There is one
process, because starting Python takes most of the time under Wine.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
DAY = ("--today", "2026-11-02")
COMMANDS: tuple[tuple[str, ...], ...] = (
    *(("check", "plan", *DAY, "--format", form) for form in ("text", "json", "csv", "markdown", "junit")),
    ("check", "plan", "other", *DAY),
    ("check", "plan", "--paths", *DAY),
    ("check", "missing"),
    ("rules",),
    ("rules", "gateway-off-link"),
    ("schema",),
    ("map", "plan"),
    ("suggest", "plan", *DAY),
    ("suggest", "plan", "--write", *DAY),
    ("suggest", "book.xlsx", "--write", *DAY),
    ("check", "crlf", *DAY),
    ("suggest", "crlf", "--write", *DAY),
    ("carve", "10.62.0.0/22", "--need", "process:40", "--need", "packing:120", "--growth", "50%"),
    ("new", "fresh"),
    ("new", "--xlsx", "fresh.xlsx"),
    ("check", "fresh", *DAY),
    ("check", "fresh.xlsx", *DAY),
    ("survey", "read", "hosts.csv", "--out", "merged.csv"),
    *(("report", "other", *DAY, "--out", f"report.{kind}") for kind in ("html", "csv", "xlsx", "json", "md", "txt")),
    ("report", "other", *DAY, "--requests", "asked.csv", "--sheet", "sheet.html"),
    ("answers", "other", "report.xlsx"),
    ("verify", "missing.jsonl"),
)


def run_all(folder: Path) -> None:
    """Run every command in the folder, and write the output and exit code of each to `printed.json`."""
    os.environ["COLUMNS"], os.environ["NO_COLOR"] = "100", "1"
    shutil.copytree(ROOT / "plans" / "tarn-hollow", folder / "plan")
    shutil.copytree(ROOT / "plans" / "tarn-hollow-mended", folder / "other")
    shutil.copy(folder / "other" / "site-hosts.csv", folder / "hosts.csv")
    shutil.copytree(folder / "plan", folder / "crlf")
    for path in (folder / "crlf").iterdir():  # line ends as editors on Windows write them
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    os.chdir(folder)
    from netcheck.cli.main import run

    printed = []
    for words in (("new", "--xlsx", "book.xlsx"), *COMMANDS):
        out, said = io.BytesIO(), io.BytesIO()
        sys.stdout, sys.stderr = io.TextIOWrapper(out, "utf-8"), io.TextIOWrapper(said, "utf-8")
        sys.argv = ["netcheck", *words]
        code: object = None
        try:
            run()
        except SystemExit as ended:
            code = ended.code
        sys.stdout.flush()
        sys.stderr.flush()
        printed.append({"words": words, "code": code, "out": out.getvalue().decode(), "said": said.getvalue().decode()})
    Path("printed.json").write_text(json.dumps(printed), encoding="utf-8")


if __name__ == "__main__":
    run_all(Path(sys.argv[1]))
