"""Proposes an address for every interface that needs one: under a finding that an address mends, or without any."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from netcheck.addr import Address
from netcheck.plan.model import Plan
from netcheck.rules.catalogue.clash import TOO_NEAR
from netcheck.rules.engine import check
from netcheck.rules.fix import subjects_to_move
from netcheck.rules.scene import Scene
from netcheck.space.suggest import suggest
from netcheck.survey.model import Survey


@dataclass(frozen=True, slots=True)
class Proposal:
    """One interface that needs an address: what it has, as text, the rules broken, and the proposal if there is one."""

    subject: str
    now: str
    rules: tuple[str, ...]
    address: Address | None
    why: str


def propose(plan: Plan, surveys: tuple[Survey, ...], today: date) -> tuple[Proposal, ...]:
    """All proposals in plan order; together they fit, and they are the fixes that `check` shows, where it shows one.

    Accepted findings move nothing. An address that is only too near is not changed for another that is too near.
    """
    scene = Scene(plan, surveys, today)
    reasons: dict[str, list[str]] = {}
    for finding in check(plan, surveys, today).findings:
        for subject in subjects_to_move(scene, finding):
            reasons.setdefault(subject, []).append(finding.rule)
    may_be_near = [subject for subject, rules in reasons.items() if rules != [TOO_NEAR.slug]]
    found = suggest(plan, scene.islands, reasons, may_be_near)
    return tuple(
        Proposal(
            interface.subject,
            interface.address.text if interface.address else "",
            tuple(reasons[interface.subject]),
            found[interface.subject].address if interface.subject in found else None,
            found[interface.subject].why if interface.subject in found else _why_not(plan, interface.subnet),
        )
        for interface in plan.interfaces
        if interface.subject in reasons
    )


def _why_not(plan: Plan, subnet: str) -> str:
    if plan.subnet_named[subnet].prefix.value is None:
        return f"the prefix of subnet {subnet} cannot be read"
    clear = f" that is {plan.keep_clear} from every site host" if plan.keep_clear > 1 else ""
    return f"no address of subnet {subnet} is free{clear}"
