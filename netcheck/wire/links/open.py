"""The links there are, by the name that `--link` takes. The rig is made by its own commands, not opened."""

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
    """Read the kind of a link; UsageError names those there are."""
    for kind in KINDS:
        if text == kind:
            return kind
    raise UsageError.of(f"there is no link {safe(text)!r}", do=f"Use {listed(list(KINDS), joint='or')}")


def open_link(
    kind: Kind, interface: str, others: Sequence[str] = (), *, overhears: bool = False, listens: bool = False
) -> Link:
    """Open a link; LinkError says what to do where it cannot be had. Each is imported only when it is asked for.
    `overhears` and `listens` are wishes that the raw link alone grants."""
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
