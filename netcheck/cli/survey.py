"""`netcheck survey`: lists the hosts of the site, from files or from the wire."""

from __future__ import annotations

import typer

from netcheck.cli import survey_listen, survey_read, survey_sweep
from netcheck.text import flowing

app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
for name, module in (("read", survey_read), ("listen", survey_listen), ("sweep", survey_sweep)):
    app.command(name, help=flowing(module.command.__doc__ or ""))(module.command)


@app.callback()
def _survey() -> None:
    """List the hosts of the site: from files that the site has, or from the wire.

    Example: netcheck survey read leases.txt arp.txt
    """
