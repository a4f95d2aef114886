"""Opens a link by the name that follows `--link`. The simulated bench has no such name."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Literal, assert_never, get_args

from netcheck.errors import UsageError
from netcheck.text import listed, safe
from netcheck.wire.link import Link

Kind = Literal["raw", "portable", "unprivileged"]
KINDS: tuple[Kind, ...] = get_args(Kind)


def kind_from_text(text: str) -> Kind:
    """Return the kind of a link by its name; raise UsageError if there is no such link."""
    for kind in KINDS:
        if text == kind:
            return kind
    raise UsageError.of(f"there is no link {safe(text)!r}", do=f"Use {listed(list(KINDS), joint='or')}")


def open_link(
    kind: Kind, interface: str, others: Sequence[str] = (), *, overhears: bool = False, listens: bool = False
) -> Link:
    """Open a link on an interface, with others as further adapters; raise LinkError if that fails.

    With `overhears` adapter 0 also hears echo replies to other MACs; with `listens` every adapter hears all traffic.
    Only the raw link supports these two. The module of a link is imported only when the link is opened.
    """
    match kind:
        case "raw":
            from netcheck.wire.links.raw import open_raw

            return open_raw(interface, others, overhears=overhears, listens=listens)
        case "portable":
            from netcheck.wire.links.portable import open_portable

            return open_portable(interface, others)
        case "unprivileged":
            if sys.platform == "win32":
                from netcheck.wire.windows.unprivileged import open_unprivileged
            else:
                from netcheck.wire.links.unprivileged import open_unprivileged
            return open_unprivileged(interface, others)
        case _:
            assert_never(kind)
