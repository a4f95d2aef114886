"""Writes the files of a new plan; if one cannot be written, no file is written."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from textwrap import fill

from netcheck.errors import Problem, UsageError
from netcheck.files import refused_by_system, write_atomically
from netcheck.text import safe

WORKBOOK = ".xlsx"


def start_plan(target: Path, *, workbook: bool) -> None:
    """Write an example plan as a folder; as a workbook if *workbook* is set or the name ends in `.xlsx`."""
    if workbook or target.suffix.casefold() == WORKBOOK:
        path = target if target.suffix.casefold() == WORKBOOK else Path(f"{target}{WORKBOOK}")
        _write(path.parent, {path.name: _workbook(path.stem)})
        made = path
    else:
        from netcheck.plan.write.new_plan import plan_files

        files = plan_files(Path(os.path.abspath(target)).name or "plan", date.today())
        _write(target, _with_schema(target, {name: text.encode() for name, text in files.items()}))
        made = target
    print(
        f"made: {safe(str(made))}\nReplace the example values with your own, then run: netcheck check {safe(str(made))}"
    )


def plan_from_lists(target: Path, sources: Sequence[Path], maps: Sequence[str], *, workbook: bool) -> None:
    """Write one plan of one or several device lists, and print what was understood, guessed and not read."""
    from netcheck.intake.device_list import intake_from, plan_files, sheets_of, to_text
    from netcheck.intake.titles import mapping_from
    from netcheck.plan.forms.csv_table import TABLE_LIMIT

    for at, source in enumerate(sources):
        if source in sources[:at]:
            raise UsageError(Problem("it is given twice", safe(str(source)), "Give each list once"))
    intake = intake_from(sources, mapping_from(maps))
    if workbook or target.suffix.casefold() == WORKBOOK:
        from netcheck.plan.write.new_plan import workbook_of
        from netcheck.rules.catalogue import RULES

        made = target if target.suffix.casefold() == WORKBOOK else Path(f"{target}{WORKBOOK}")
        _write(made.parent, {made.name: workbook_of(sheets_of(intake), [rule.slug for rule in RULES])})
    else:
        made = target
        files = {name: text.encode("utf-8", "replace") for name, text in plan_files(intake).items()}
        if max(map(len, files.values())) > TABLE_LIMIT:
            what = f"its plan is larger than the {TABLE_LIMIT >> 20} MiB of a table that are read"
            do = "Split the list, or leave columns out with --map TITLE=-"
            raise UsageError(Problem(what, safe(str(sources[0])), do))
        _write(target, _with_schema(target, files))
    shown = safe(str(made))
    lines = to_text(intake).splitlines()
    if sys.stdout.isatty():
        width = shutil.get_terminal_size().columns
        lines = [
            fill(line, width, subsequent_indent="    ", break_on_hyphens=False) if len(line) > width else line
            for line in lines
        ]
    print("\n".join(lines))
    print(
        f"\nmade: {shown}\nCorrect there what is wrong, add the site's lists as surveys, and run:\n"
        f"netcheck check {shown}"
    )


def _with_schema(target: Path, files: dict[str, bytes]) -> dict[str, bytes]:
    """Return a plan's files with the directive and the schema for editors; an existing schema is kept."""
    from netcheck.plan.read import PLAN_FILE
    from netcheck.plan.schema import plan_schema
    from netcheck.plan.write.new_plan import DIRECTIVE, SCHEMA_FILE
    from netcheck.rules.catalogue import RULES
    from netcheck.survey.read import kinds

    schema = json.dumps(plan_schema([rule.slug for rule in RULES], kinds()), indent=2) + "\n"
    made = {} if (target / SCHEMA_FILE).exists() else {SCHEMA_FILE: schema.encode()}
    return made | files | {PLAN_FILE: DIRECTIVE.encode() + files[PLAN_FILE]}


def _workbook(name: str) -> bytes:
    from netcheck.plan.write.new_plan import new_workbook
    from netcheck.rules.catalogue import RULES

    return new_workbook(safe(name), [rule.slug for rule in RULES], date.today())


def _write(folder: Path, files: dict[str, bytes]) -> None:
    """Write all files into a folder; if one fails, remove the files that were written before it."""
    try:
        there = [folder / name for name in files if (folder / name).exists() or (folder / name).is_symlink()]
        if there:
            do = "Choose another name; nothing was changed"
            raise UsageError(Problem("it exists and is not overwritten", safe(str(there[0])), do))
        begun = not folder.exists()
        if not begun and not folder.is_dir():
            raise UsageError(Problem("it is a file, and a folder is needed", safe(str(folder)), "Choose another name"))
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise UsageError(refused_by_system(error, folder).at(safe(str(folder)))) from error
    written: list[Path] = []
    try:
        for name, data in files.items():
            written.append(folder / name)
            write_atomically(folder / name, data)
    except BaseException:
        with suppress(OSError):
            for path in written:
                path.unlink(missing_ok=True)
            if begun:
                folder.rmdir()
        raise
