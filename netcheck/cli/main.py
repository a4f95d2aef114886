"""The console command: loads only the command that is asked for, and turns errors of the user's into words."""

from __future__ import annotations

import gc
import io
import os
import sys
from importlib import import_module
from pathlib import Path

import typer

from netcheck import __version__
from netcheck.errors import NetcheckError
from netcheck.text import flowing, safe

# Name and module of each command, in the order of the work. A module holds `command`, or `app` where it has
# commands of its own. It imports what is heavy inside its function, so that `--help` and `check` start at once.
COMMANDS: tuple[tuple[str, str], ...] = (
    ("new", "netcheck.cli.new"),
    ("check", "netcheck.cli.check"),
    ("map", "netcheck.cli.map"),
    ("suggest", "netcheck.cli.suggest"),
    ("carve", "netcheck.cli.carve"),
    ("rules", "netcheck.cli.rules"),
    ("schema", "netcheck.cli.schema"),
    ("survey", "netcheck.cli.survey"),
    ("identify", "netcheck.cli.identify"),
    ("ready", "netcheck.cli.ready"),
    ("prove", "netcheck.cli.prove"),
    ("walk", "netcheck.cli.walk"),
    ("rehearse", "netcheck.cli.rehearse"),
    ("verify", "netcheck.cli.verify"),
    ("report", "netcheck.cli.report"),
    ("answers", "netcheck.cli.answers"),
    ("demo", "netcheck.cli.demo"),
)
INTERRUPTED = 130  # 128 + SIGINT, the shells' custom


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"netcheck {__version__}")
        raise typer.Exit


def _main(
    version: bool = typer.Option(False, "--version", help="Print the version.", callback=_version, is_eager=True),
) -> None:
    """Check a controls network's address plan, and prove port by port that each device answers."""


def build(words: list[str]) -> typer.Typer:
    """Build the application with the one command that `words` begin with, or with all where none is recognised."""
    app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
    app.callback()(_main)
    wanted = [entry for entry in COMMANDS if words and entry[0] == words[0]] or COMMANDS
    for name, path in wanted:
        module = import_module(path)
        if hasattr(module, "app"):
            app.add_typer(module.app, name=name)
        else:
            app.command(name, help=flowing(module.command.__doc__ or ""))(module.command)
    return app


def complain(error: NetcheckError) -> None:
    """Print every problem of an error on standard error, one a line, harmless to the terminal."""
    for problem in error.problems:
        print(f"netcheck: {safe(str(problem), 2000)}", file=sys.stderr)


def _help_of(error: typer.exceptions.TyperException, words: list[str]) -> str:
    """The call that shows how the command that was meant is used."""
    context = getattr(error, "ctx", None)
    known = words[:1] if words and words[0] in dict(COMMANDS) else []
    return f"{context.command_path if context else ' '.join(['netcheck', *known])} --help"


def _drop_output() -> None:
    """Let what is still to be written go nowhere: at its end Python writes the rest, and would complain."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def run() -> None:
    """Run the command line; exit codes are 2 for bad use or input, 3 for an unusable interface, 130 for Ctrl-C."""
    words = sys.argv[1:]
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # nothing of other packages is run or looked for
    gc.set_threshold(2_000_000, 50, 50)  # a large plan is made of millions of objects, hardly any of them in cycles
    for stream in ("stdout", "stderr"):
        if getattr(sys, stream) is None:  # closed by whoever called
            setattr(sys, stream, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115  # open to the end
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # an older terminal may lack a character; that is no error
    try:
        code = build(words)(words, prog_name="netcheck", standalone_mode=False)
        sys.stdout.flush()
        if code == INTERRUPTED:  # typer's own answer to Ctrl-C, which says nothing
            print("netcheck: interrupted", file=sys.stderr)
    except NetcheckError as error:
        complain(error)
        code = error.exit_code
    except typer.exceptions.TyperException as error:
        said = error.format_message().replace("Value error, ", "").rstrip(".")  # a word of pydantic's, within typer
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
