"""The console command: imports only the command that is asked for, and prints errors without a traceback."""

from __future__ import annotations

import io
import os
import sys
from importlib import import_module
from pathlib import Path

import typer

from netcheck import __version__
from netcheck.errors import NetcheckError
from netcheck.text import flowing, safe

# Name and summary of each command, in the order of the work. The summary is the first paragraph of the docstring of the
# command in `netcheck.cli.NAME`; it stands here too, so that `--help` imports none of these modules. A test compares.
COMMANDS: tuple[tuple[str, str], ...] = (
    ("new", "Start a plan: a small example that passes the check, with comments that say what to replace."),
    (
        "check",
        "Check a plan: every conflict at once, each with its reason, its source and a fix that fits.",
    ),
    (
        "map",
        "Draw who holds which address of each subnet.",
    ),
    (
        "suggest",
        "Propose free addresses for interfaces that have none or must change theirs.",
    ),
    (
        "carve",
        "Divide a block into the smallest subnets that hold the devices, a gateway each and the growth.",
    ),
    (
        "rules",
        "List the rules of the check, or explain one: what it says, why, its source and an example.",
    ),
    ("schema", "Print the JSON Schema (2020-12) of plan.toml, or of a report, of findings or of a line of a record."),
    ("survey", "List the hosts of the site: from files that the site has, or from the wire."),
    ("identify", "Find the address of a used device on a direct cable, and what to set on this computer to reach it."),
    ("ready", "Look for what would make the next proof false, before leaving. Nothing is sent and nothing is changed."),
    ("prove", "Prove port by port that each address replies through its connector, and that no other device does."),
    ("walk", "Watch all addresses while you pull each cable twice for some seconds, in any order."),
    (
        "rehearse",
        "Prove a plan on a simulated bench, or measure how often a proof is false.",
    ),
    (
        "verify",
        "Verify that no line of a record was changed and that its proofs fit, and print its seal.",
    ),
    ("report", "Write the report on a plan and its proofs. Either all files are written or none."),
    ("answers", "Read what the site has answered, and write its decisions into the plan."),
    ("demo", "Check an invented plant, correct its plan, prove its ports on a simulated bench, and write the reports."),
)
INTERRUPTED = 130  # 128 + SIGINT, as shells do


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"netcheck {__version__}")
        raise typer.Exit


def _main(
    version: bool = typer.Option(False, "--version", help="Print the version.", callback=_version, is_eager=True),
) -> None:
    """Check a controls network's address plan, and prove port by port that each device answers."""


def build(words: list[str]) -> typer.Typer:
    """Return the application with the command that *words* name, or with the summaries of all where they name none."""
    app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
    app.callback()(_main)
    wanted = _named(words)
    if wanted is None:
        for name, summary in COMMANDS:
            app.command(name, help=summary)(_only_shown)
        return app
    module = import_module(f"netcheck.cli.{wanted}")
    if hasattr(module, "app"):
        app.add_typer(module.app, name=wanted)
    else:
        app.command(wanted, help=flowing(module.command.__doc__ or ""))(module.command)
    return app


def _named(words: list[str]) -> str | None:
    """Return the command that the words name: the first one that is not an option."""
    first = next((word for word in words if not word.startswith("-")), "")
    return first if first in dict(COMMANDS) else None


def _only_shown() -> None:
    """Stand for a command in the list of all commands; it is never called."""


def complain(error: NetcheckError) -> None:
    """Print the problems of an error on standard error, one a line, with control characters escaped."""
    for problem in error.problems:
        print(f"netcheck: {safe(str(problem), 2000)}", file=sys.stderr)


def _help_of(error: typer.exceptions.TyperException, words: list[str]) -> str:
    """Return the call that prints the usage of the command that was meant."""
    context = getattr(error, "ctx", None)
    known = [name] if (name := _named(words)) else []
    return f"{context.command_path if context else ' '.join(['netcheck', *known])} --help"


def _drop_output() -> None:
    """Discard buffered output: Python flushes it at exit and would print an error."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if sys.platform == "win32":
    import ctypes

    STREAMS = (-11, -12)  # STD_OUTPUT_HANDLE and STD_ERROR_HANDLE, as GetStdHandle names them
    ESCAPE_SEQUENCES = 4  # ENABLE_VIRTUAL_TERMINAL_PROCESSING

    def _enable_escape_sequences() -> None:
        """Let the console interpret escape sequences, as Windows 10 and 11 do; a stream that is not a console is left
        alone. The screen is then drawn in one piece; without them every piece of a line is a call of its own.
        """
        kernel32 = ctypes.windll.kernel32
        kernel32.GetStdHandle.restype = ctypes.c_void_p
        for number in STREAMS:
            handle, mode = ctypes.c_void_p(kernel32.GetStdHandle(number)), ctypes.c_ulong()
            if kernel32.GetConsoleMode(handle, ctypes.byref(mode)):
                kernel32.SetConsoleMode(handle, ctypes.c_ulong(mode.value | ESCAPE_SEQUENCES))


def run() -> None:
    """Run the command line. Exit codes: 2 bad use or input, 3 an unusable interface, 130 Ctrl-C."""
    words = sys.argv[1:]
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # plugins of other packages are not searched for
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
        if code == INTERRUPTED:  # typer's reaction to Ctrl-C prints nothing
            print("netcheck: interrupted", file=sys.stderr)
    except NetcheckError as error:
        complain(error)
        code = error.exit_code
    except typer.exceptions.TyperException as error:
        said = error.format_message().replace("Value error, ", "").rstrip(".")  # pydantic's prefix, inside typer
        print(f"netcheck: {safe(said, 2000)}. See `{_help_of(error, words)}`", file=sys.stderr)
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
        complain(refused)
        _drop_output()
        code = refused.exit_code
    sys.exit(code if isinstance(code, int) else 0)
