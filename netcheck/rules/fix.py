"""Gives findings their fixes: free addresses that all fit together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import assert_never

from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.finding import Finding, Fix
from netcheck.rules.rule import Readdress
from netcheck.rules.scene import Scene
from netcheck.space.suggest import suggest
from netcheck.space.usable import private_ranges


def subjects_to_move(scene: Scene, finding: Finding) -> tuple[str, ...]:
    """The subjects that need another address for the finding to go; none where no address can mend it."""
    return tuple(subject for subject in _movers(scene, finding) if _has_it(scene, finding, subject))


def _has_it(scene: Scene, finding: Finding, subject: str) -> bool:
    """Proposals are for `address`: no other address of an interface, nor one outside of a translating router, moves."""
    interface = scene.plan.interface_named.get(subject)
    if interface is None or finding.address is None or interface.address is None:
        return interface is not None
    return str(interface.address.value) == finding.address


def _movers(scene: Scene, finding: Finding) -> tuple[str, ...]:
    mend = RULE_NAMED[finding.rule].readdress
    match mend:
        case Readdress.NONE:
            return ()
        case Readdress.EACH:
            return finding.subjects
        case Readdress.ALL_BUT_FIRST:
            return finding.subjects[1:]
        case Readdress.PRIVATE:
            return tuple(subject for subject in finding.subjects if _has_private(scene, subject))
        case _:
            assert_never(mend)


def _has_private(scene: Scene, subject: str) -> bool:
    interface = scene.plan.interface_named.get(subject)
    prefix = scene.plan.subnet_of(interface).prefix.value if interface else None
    return prefix is not None and bool(private_ranges(prefix))


def with_fixes(scene: Scene, findings: Iterable[Finding]) -> list[Finding]:
    """The findings, each with a fix where every subject that must move can be placed clear of the site hosts."""
    moving = [(finding, subjects_to_move(scene, finding)) for finding in findings]
    wanted = {subject for _, subjects in moving for subject in subjects}
    free = suggest(scene.plan, scene.islands, wanted)
    return [
        replace(finding, fix=Fix(tuple((subject, free[subject].address) for subject in subjects)))
        if subjects and all(subject in free for subject in subjects)
        else finding
        for finding, subjects in moving
    ]
