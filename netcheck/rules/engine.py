"""Runs all rules on a plan, sorts the findings, separates the accepted ones and adds fixes that fit together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Set
from dataclasses import dataclass, replace
from datetime import date
from itertools import chain
from math import inf

from netcheck.plan.model import Plan
from netcheck.rules.accept import remarks_on, split_accepted
from netcheck.rules.catalogue import RULE_NAMED, RULES
from netcheck.rules.catalogue.acceptance import ACCEPTED_TOO_WIDE, ACCEPTED_UNUSED, QUESTION, QUESTION_WITHOUT_REPLY
from netcheck.rules.finding import AcceptedFinding, Breach, Finding, Severity
from netcheck.rules.names import PlannedName
from netcheck.rules.other_plans import OtherPlans
from netcheck.rules.propose import Proposals, propose, with_fixes
from netcheck.rules.reachability.trace import TracedConversation
from netcheck.rules.rule import Rule
from netcheck.rules.scene import Scene
from netcheck.survey.model import Survey

NO_OTHERS = OtherPlans()


@dataclass(frozen=True, slots=True)
class Checked:
    """The result of a check.

    The open and the accepted findings are in order of severity, then in plan order. The conversations have their paths,
    the planned names their DNS records.
    """

    plan: Plan
    findings: tuple[Finding, ...]
    accepted: tuple[AcceptedFinding, ...]
    site_hosts: int
    conversations: tuple[TracedConversation, ...] = ()
    in_zones: tuple[PlannedName, ...] = ()

    def count(self, severity: Severity) -> int:
        """Return the number of open findings with a severity."""
        return sum(finding.severity is severity for finding in self.findings)

    @property
    def summary(self) -> dict[str, int]:
        """Return the number of findings by severity, under the keys of the reports."""
        return {
            **{severity.value: self.count(severity) for severity in Severity},
            "accepted": len(self.accepted),
            "interfaces": len(self.plan.interfaces),
            "site_hosts": self.site_hosts,
        }


def check(
    plan: Plan,
    surveys: tuple[Survey, ...],
    today: date,
    done: Callable[[Rule], None] = lambda rule: None,
    others: OtherPlans = NO_OTHERS,
) -> Checked:
    """Run every rule and return the findings.

    `today` is the day from which the age of surveys and accepted entries counts. `done` is called after each rule.
    `others` are the plans that this plan is checked against.
    """
    return _checked(Scene(plan=plan, surveys=surveys, today=today, others=others), done)


def propose_addresses(
    plan: Plan, surveys: tuple[Survey, ...], today: date, others: OtherPlans = NO_OTHERS
) -> Proposals:
    """Return a proposal for every interface that needs an address; `check` shows the same addresses as fixes."""
    scene = Scene(plan=plan, surveys=surveys, today=today, others=others)
    checked = _checked(scene, lambda rule: None)
    return propose(scene, checked.findings, checked.accepted)


def _checked(scene: Scene, done: Callable[[Rule], None]) -> Checked:
    found: list[Finding] = []
    for rule in RULES:
        found += _findings(rule, scene)
        done(rule)
    plan = scene.plan
    order = _Order(plan)
    split = split_accepted(order.sorted(found), plan.accepted, scene.today)
    open_ones = {one for several in remarks_on(split.open, plan.remarks).values() for one in several}
    pending = (one for one in plan.remarks if not one.reply and (one.decision == QUESTION or one in open_ones))
    of_entries = replace(
        scene,
        unused=split.unused,
        wide=split.wide,
        pending=tuple(pending),
        run=tuple(RULE_NAMED),
    )
    of_plan = ACCEPTED_UNUSED, ACCEPTED_TOO_WIDE, QUESTION_WITHOUT_REPLY
    leftover = [each for rule in of_plan for each in _findings(rule, of_entries)]
    findings = order.sorted([*with_fixes(scene, split.open, split.accepted), *leftover])
    return Checked(plan, tuple(findings), split.accepted, _host_count(scene), scene.conversations, scene.in_zones)


def _findings(rule: Rule, scene: Scene) -> list[Finding]:
    return [_finding(rule, breach) for breach in rule.check(scene)]


def _finding(rule: Rule, breach: Breach) -> Finding:
    return Finding(
        rule=rule.slug,
        severity=rule.severity,
        subjects=breach.subjects,
        address=breach.address,
        message=breach.message,
        source=rule.source,
        fix=None,
        where=breach.where,
        others=breach.others,
    )


def _host_count(scene: Scene) -> int:
    return sum(island.hosts.distinct for island in scene.islands.values())


class _Order:
    """Sorts findings by severity, then by the position of the first subject in the plan, then by rule."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._severity = {severity: rank for rank, severity in enumerate(Severity)}
        self._rule = {rule.slug: rank for rank, rule in enumerate(RULES)}

    def sorted(self, findings: Iterable[Finding]) -> list[Finding]:
        """Return the findings sorted; findings with the same subject and rule keep their order."""
        listed = tuple(findings)
        places = self._places({finding.subjects[0] for finding in listed})

        def key(finding: Finding) -> tuple[int, float, int]:
            place = places.get(finding.subjects[0], inf)
            return self._severity[finding.severity], place, self._rule[finding.rule]

        return sorted(listed, key=key)

    def _places(self, wanted: Set[str]) -> dict[str, int]:
        """Return the positions in the plan of the wanted subjects."""
        plan = self._plan
        subjects = chain(
            (subnet.name for subnet in plan.subnets),
            plan.interface_named,
            (each.name for group in (plan.routers, plan.stations) for each in group),
            (survey.file for survey in plan.surveys),
        )
        return {subject: place for place, subject in enumerate(subjects) if subject in wanted}
