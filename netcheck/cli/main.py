"""The console command: imports only the requested command, and prints errors without a traceback."""

from __future__ import annotations

import io
import os
import sys
from collections import Counter
from importlib import import_module
from pathlib import Path

import typer

from netcheck import __version__
from netcheck.cli.help_pages import PlainHelpCommand, PlainHelpGroup
from netcheck.errors import NetcheckError, Problem
from netcheck.text import flowing, for_terminal, number_of, safe

# Name and summary of each command, in the order of the work. The summary is the first paragraph of the docstring of the
# command in `netcheck.cli.NAME`. It is repeated here so that `--help` imports none of these modules; a test compares.
COMMANDS: tuple[tuple[str, str], ...] = (
    ("new", "Start a plan, as a small example with comments, or from your own device lists."),
    (
        "check",
        "Check a plan, and report all conflicts at once, each with its reason, its source and a fix.",
    ),
    (
        "map",
        "Draw the addresses of each subnet with their uses, or list who has which address.",
    ),
    (
        "suggest",
        "Propose free addresses for interfaces that have no address or must change it.",
    ),
    (
        "carve",
        "Divide a block into the smallest subnets that hold the devices, one gateway each, and the growth.",
    ),
    (
        "rules",
        "List the rules of the check, or explain one rule with its reason, its source and an example.",
    ),
    ("schema", "Print the JSON Schema (2020-12) of plan.toml, of a report, of findings, or of a line of a record."),
    ("survey", "List the hosts of the site, from the site's own lists or from the wire."),
    (
        "identify",
        "Find the address of a used device on a direct cable, and the address with which this computer reaches it.",
    ),
    ("ready", "Find faults that would spoil the next proof. Nothing is sent and nothing is changed."),
    ("prove", "Prove port by port that each address answers through its connector, and that no other device does."),
    ("walk", "Prove all ports while you pull each cable twice for some seconds, in any order."),
    (
        "rehearse",
        "Prove a plan on a simulated bench, or measure how often a proof is false.",
    ),
    (
        "verify",
        "Verify that no line of a record was changed and that its proofs follow from its counts; print its seal.",
    ),
    ("report", "Write reports on a plan and its proofs. If one file cannot be written, no file is written."),
    ("answers", "Read the answers of the site, and write its decisions into the plan."),
    ("demo", "Check an invented plant, correct its plan, prove its ports on a simulated bench, and write reports."),
)
PLACES = 100  # places of one problem that are printed: common practice, no source
INTERRUPTED = 130  # 128 + SIGINT, as shells do


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"netcheck {__version__}")
        raise typer.Exit


def _main(
    version: bool = typer.Option(False, "--version", help="Print the version.", callback=_version, is_eager=True),
) -> None:
    """Check the address plan of a controls network, and prove port by port that each device answers."""


def build(words: list[str]) -> typer.Typer:
    """Return the application with the command that *words* name; if they name none, with the summaries of all."""
    app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, cls=PlainHelpGroup)
    app.callback()(_main)
    wanted = _named(words)
    if wanted is None:
        for name, summary in COMMANDS:
            app.command(name, cls=PlainHelpCommand, help=summary)(_only_shown)
        return app
    module = import_module(f"netcheck.cli.{wanted}")
    if hasattr(module, "app"):
        app.add_typer(module.app, name=wanted)
    else:
        app.command(wanted, cls=PlainHelpCommand, help=flowing(module.command.__doc__ or ""))(module.command)
    return app


def _named(words: list[str]) -> str | None:
    """Return the command that the words name: the first word that is not an option."""
    first = next((word for word in words if not word.startswith("-")), "")
    return first if first in dict(COMMANDS) else None


def _only_shown() -> None:
    """Stand for a command in the list of all commands; it is never called."""


def print_problems(error: NetcheckError) -> None:
    """Print the problems of an error on standard error, one on each line, with control characters escaped.

    A problem that is in many places, such as a wrong key of every device, is printed for the first `PLACES` places. The
    number of the others follows at the end, so that they do not hide the other problems.
    """
    seen: Counter[Problem] = Counter()
    for problem in error.problems:
        kind = problem._replace(where="")
        seen[kind] += 1
        if seen[kind] <= PLACES:
            _print_message(str(problem))
    for kind, count in seen.items():
        if count > PLACES:
            more = count - PLACES
            _print_message(f"{number_of(more, 'more place')} {'has' if more == 1 else 'have'} this problem: {kind}")


def _print_message(text: str) -> None:
    print(for_terminal(f"netcheck: {safe(text, 2000)}", sys.stderr), file=sys.stderr)


def _help_of(error: typer.exceptions.TyperException, words: list[str]) -> str:
    """Return the call that prints the usage of the command of the error."""
    context = getattr(error, "ctx", None)
    known = [name] if (name := _named(words)) else []
    return f"{context.command_path if context else ' '.join(['netcheck', *known])} --help"


def _drop_output() -> None:
    """Discard buffered output, because Python flushes it at exit and then prints an error."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if sys.platform == "win32":
    import ctypes

    STREAMS = (-11, -12)  # STD_OUTPUT_HANDLE and STD_ERROR_HANDLE, as GetStdHandle names them
    ESCAPE_SEQUENCES = 4  # ENABLE_VIRTUAL_TERMINAL_PROCESSING

    def _enable_escape_sequences() -> None:
        """Let the console interpret escape sequences, as Windows 10 and 11 can; do nothing if a stream is no console.

        With escape sequences the screen is written in one call; without them each part of a line is one call.
        """
        kernel32 = ctypes.windll.kernel32
        kernel32.GetStdHandle.restype = ctypes.c_void_p
        for number in STREAMS:
            handle, mode = ctypes.c_void_p(kernel32.GetStdHandle(number)), ctypes.c_ulong()
            if kernel32.GetConsoleMode(handle, ctypes.byref(mode)):
                kernel32.SetConsoleMode(handle, ctypes.c_ulong(mode.value | ESCAPE_SEQUENCES))


def run() -> None:
    """Run the command line. Exit codes: 2 wrong use or input, 3 an unusable interface, 130 Ctrl-C."""
    words = sys.argv[1:]
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # no search for plugins of other packages
    for stream in ("stdout", "stderr"):
        if getattr(sys, stream) is None:  # closed by the caller
            setattr(sys, stream, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115  # stays open to the end
    if sys.platform == "win32":
        _enable_escape_sequences()
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # an older terminal may lack a character
    try:
        code = build(words)(words, prog_name="netcheck", standalone_mode=False)
        sys.stdout.flush()
        if code == INTERRUPTED:  # typer prints nothing on Ctrl-C
            print("netcheck: interrupted", file=sys.stderr)
    except NetcheckError as error:
        print_problems(error)
        code = error.exit_code
    except typer.exceptions.TyperException as error:
        said = error.format_message().replace("Value error, ", "").rstrip(".")  # pydantic's prefix, inside typer
        refusal = f"netcheck: {safe(said, 2000)}. See `{_help_of(error, words)}`"
        print(for_terminal(refusal, sys.stderr), file=sys.stderr)
        code = 2
    except (KeyboardInterrupt, typer.Abort):
        print("netcheck: interrupted", file=sys.stderr)
        code = INTERRUPTED
    except BrokenPipeError:
        _drop_output()
        code = 0
    except OSError as error:  # most often standard output on a full disk
        from netcheck.files import refused_by_system

        refused = refused_by_system(error, Path(str(error.filename or "standard output")))
        print_problems(refused)
        _drop_output()
        code = refused.exit_code
    sys.exit(code if isinstance(code, int) else 0)
