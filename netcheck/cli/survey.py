"""`netcheck survey`: what is already on the site, from files or from the wire. Each of its commands has a module."""

from __future__ import annotations

import typer

from netcheck.cli import survey_listen, survey_read, survey_sweep
from netcheck.text import flowing

app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
# What is heavy these modules import inside the function.
for name, module in (("read", survey_read), ("listen", survey_listen), ("sweep", survey_sweep)):
    app.command(name, help=flowing(module.command.__doc__ or ""))(module.command)


@app.callback()
def _survey() -> None:
    """List what is already on the site: from files that the site has, or from the wire.

    Example: netcheck survey read leases.txt arp.txt
    """
