"""Which ports a word names: a value of `--only`, or what the operator types to choose the next port."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from difflib import get_close_matches
from typing import TYPE_CHECKING

from netcheck.addr import Address, Range
from netcheck.errors import Problem, UsageError
from netcheck.text import listed, safe

if TYPE_CHECKING:
    from netcheck.proof.targets import Target

NEAREST = 4  # names that a message proposes in place of an unknown one
_CUT = re.compile(r"[\s/:]+")  # a switch's name ends at one of these: `sw-2/54`, `sw-2:54`, `sw-2 Gi1/0/54`


def _switches(target: Target) -> list[str]:
    """Return the switch port, and every beginning of it that may be the name of a switch."""
    text = target.switch_port
    return [text, *(text[: cut.start()] for cut in _CUT.finditer(text))] if text else []


# What a word may name, in this order: a word that is a device is not looked for among the places.
KINDS: tuple[Callable[[Target], Iterable[str]], ...] = (
    lambda target: (target.subject,),
    lambda target: (target.interface,),
    lambda target: (target.device,),
    lambda target: (target.subnet,),
    lambda target: (target.place,),
    _switches,
)


def named(word: str, targets: Sequence[Target]) -> tuple[Target, ...]:
    """Return the ports that a word names, in their order: a port, an interface, a device, a subnet, a place, a switch
    or switch port, an address, a range or a prefix. Capitals do not matter, except between names that differ only in
    them."""
    for form in (_same, _folded):
        wanted = form(word)
        for names in KINDS:
            found = tuple(target for target in targets if wanted in map(form, names(target)) and wanted)
            if found:
                return found
    try:
        span = Range.from_text(word)
    except ValueError:
        return ()
    return tuple(t for t in targets if not t.barred and span.holds(Address(4, t.address)))


def chosen(words: Sequence[str], targets: Sequence[Target]) -> tuple[Target, ...]:
    """Return the ports that the words name, in the order of the words, each once; all without words.

    UsageError names every word that names none, with the nearest names."""
    if not words:
        return tuple(targets)
    found = [(word, named(word, targets)) for word in words]
    unknown = [word for word, ports in found if not ports]
    if unknown:
        raise UsageError(*(_unknown(word, targets) for word in unknown))
    return tuple(dict.fromkeys(target for _, ports in found for target in ports))


def typed(text: str, targets: Sequence[Target]) -> tuple[Target, ...]:
    """Return the ports that an operator may mean: by their number, counted from 1, by a name, or by a part of one."""
    word = text.strip()
    if word.isascii() and word.isdigit() and len(word) < 7:
        number = int(word)
        return (targets[number - 1],) if 0 < number <= len(targets) else ()
    part = _folded(word)
    if exact := named(word, targets):
        return exact
    return tuple(t for t in targets if part and (part in _folded(t.subject) or part in t.address_text))


def nearest(word: str, targets: Sequence[Target]) -> list[str]:
    """Return the names that are most like a word, at most `NEAREST`; addresses for an address."""
    names = {_folded(name): name for kind in KINDS for target in targets for name in kind(target) if name}
    part = _folded(word)
    try:
        wanted = Range.from_text(word)
    except ValueError:
        close = get_close_matches(part, names, NEAREST, 0.6)
        within = [name for name in names if part and part in name and name not in close]
        return [names[name] for name in (*close, *within)][:NEAREST]
    there = {target.address: target.address_text for target in targets if not target.barred}
    return [there[address] for address in sorted(there, key=lambda one: abs(one - wanted.low))[:NEAREST]]


def _unknown(word: str, targets: Sequence[Target]) -> Problem:
    near = nearest(word, targets)
    do = (
        f"Did you mean {listed(near, joint='or')}?"
        if near
        else f"Use one of {listed(_interfaces(targets), joint='or')}"
    )
    what = f"--only {safe(word, 60)}: the plan has no such port, interface, device, subnet, place, switch or address"
    return Problem(what, do=do)


def _interfaces(targets: Sequence[Target]) -> list[str]:
    return sorted({target.interface for target in targets})


def _same(text: str) -> str:
    return text.strip()


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())
