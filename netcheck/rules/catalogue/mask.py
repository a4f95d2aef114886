"""Rules on the mask that is typed into a device."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from netcheck.addr import Mask, Prefix
from netcheck.plan.model import Interface
from netcheck.rules.finding import Breach, Severity, breach
from netcheck.rules.rule import Rule, one
from netcheck.rules.scene import Scene


def _masks(
    scene: Scene, wrong: Callable[[Mask, Prefix | None], bool]
) -> Iterator[tuple[Interface, Mask, Prefix | None]]:
    """Yield the interfaces whose mask is wrong for the prefix of their subnet."""
    for members in scene.members:
        prefix = members.subnet.prefix.value
        found = {mask for mask in members.masks if wrong(mask, prefix)}
        for interface in members.interfaces if found else ():
            if interface.mask is not None and interface.mask.value in found:
                yield interface, interface.mask.value, prefix


def _needed_mask(prefix: Prefix | None, mask: Mask) -> str:
    if prefix is None or prefix.family != mask.family:
        return ""
    typed = Mask.from_text(f"/{prefix.length}", prefix.family)
    return f"; {prefix} needs {typed}" + (f" (/{prefix.length})" if prefix.family == 4 else "")


def _broken(scene: Scene) -> Iterator[Breach]:
    for interface, mask, prefix in _masks(scene, lambda mask, _: mask.length is None):
        yield breach(
            f"the bits of the typed mask {mask} are not ones followed by zeros{_needed_mask(prefix, mask)}", interface
        )


def _differs(scene: Scene) -> Iterator[Breach]:
    for interface, mask, prefix in _masks(scene, _other_length):
        yield breach(f"the typed mask {mask} is /{mask.length}{_needed_mask(prefix, mask)}", interface)


def _other_length(mask: Mask, prefix: Prefix | None) -> bool:
    return prefix is not None and mask.length is not None and mask.length != prefix.length


def _typed(mask: str) -> str:
    return f'address = "10.62.20.61"\nmask = "{mask}"'


MASK_BROKEN = Rule(
    slug="mask-broken",
    severity=Severity.CONFLICT,
    what="The typed mask is not contiguous.",
    why="Such a mask is nearly always a typing error. A device that accepts it treats unrelated addresses as on-link "
    "and sends traffic for its neighbours to the gateway.",
    bad=one(_typed("255.255.0.255")),
    good=one(_typed("255.255.255.0")),
    source="RFC 1812 section 10.2.2; RFC 4632 section 5.1",
    check=_broken,
)
MASK_DIFFERS = Rule(
    slug="mask-differs",
    severity=Severity.CONFLICT,
    what="The typed mask has another length than the subnet's prefix.",
    why="The device answers on the bench, where all devices are on one segment, but the control room cannot reach it. "
    "If the mask is too short, the device sends ARP requests on its own segment for hosts behind the gateway. If it is "
    "too long, the device sends local traffic to the gateway.",
    bad=one(_typed("255.255.0.0")),
    good=one(_typed("/24")),
    source="RFC 1122 section 3.3.1.1; RFC 950 section 2.2",
    check=_differs,
)
