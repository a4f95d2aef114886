"""`netcheck survey`: what is already on the site, from files or from the wire. Each of its commands has a module."""

from __future__ import annotations

import typer

from netcheck.cli import survey_listen, survey_read, survey_sweep

app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
# One line a command; what is heavy its module imports inside the function.
app.command("read")(survey_read.command)
app.command("listen")(survey_listen.command)
app.command("sweep")(survey_sweep.command)


@app.callback()
def _survey() -> None:
    """List what is already on the site: from files that the site has, or from the wire.

    Example: netcheck survey read leases.txt arp.txt
    """
