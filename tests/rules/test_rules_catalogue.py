"""The examples of every rule: `bad` breaks it, `good` does not, and its texts are complete."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from netcheck.rules.catalogue import RULE_NAMED, RULES
from netcheck.rules.engine import Checked
from netcheck.rules.rule import Rule

# The contract of the rules: slug and severity, typed here independently of the code.
CONTRACT = {
    "unreadable-value": "conflict",
    "outside-subnet": "conflict",
    "unusable-address": "conflict",
    "special-purpose": "risk",
    "public-address": "risk",
    "mask-broken": "conflict",
    "mask-differs": "conflict",
    "planned-twice": "conflict",
    "taken-on-site": "conflict",
    "already-there": "note",
    "reservation-made": "note",
    "inside-pool": "conflict",
    "inside-reserved": "conflict",
    "is-gateway": "conflict",
    "is-station": "conflict",
    "mac-unusable": "conflict",
    "mac-local": "note",
    "mac-planned-twice": "conflict",
    "mac-elsewhere": "risk",
    "name-unusable": "conflict",
    "name-planned-twice": "conflict",
    "name-taken-on-site": "conflict",
    "dns-name-elsewhere": "conflict",
    "dns-name-differs": "risk",
    "dns-pair-missing": "note",
    "switch-port-twice": "conflict",
    "gateway-off-link": "conflict",
    "gateway-unusable": "conflict",
    "gateway-differs": "risk",
    "same-subnet-twice": "risk",
    "legs-overlap": "conflict",
    "two-gateways": "risk",
    "behind-twice": "conflict",
    "behind-other-subnet": "risk",
    "router-address-twice": "conflict",
    "router-prefix-differs": "conflict",
    "pool-outside-subnet": "conflict",
    "conversation-undecided": "note",
    "survey-in-future": "risk",
    "subnets-overlap": "conflict",
    "vlan-unusable": "conflict",
    "vlan-reused": "risk",
    "no-way-there": "conflict",
    "no-way-back": "conflict",
    "translation-to-nothing": "conflict",
    "translated-twice": "conflict",
    "outside-address-taken": "conflict",
    "too-near": "risk",
    "lease-outside-pools": "risk",
    "pool-differs": "risk",
    "dhcp-without-mac": "conflict",
    "outside-scheme": "risk",
    "crowded": "risk",
    "not-surveyed": "risk",
    "survey-stale": "risk",
    "survey-disagrees": "risk",
    "unplaced": "note",
    "accepted-unused": "note",
    "question-without-reply": "note",
    "accepted-too-wide": "risk",
}
by_slug = pytest.mark.parametrize("rule", RULES, ids=[rule.slug for rule in RULES])


def test_slugs_and_severities_are_the_contract() -> None:
    """The rules are exactly those of the contract, with its severities."""
    assert {rule.slug: rule.severity.value for rule in RULES} == CONTRACT
    assert len(RULES) == len(RULE_NAMED)


@by_slug
def test_bad_breaks_the_rule(rule: Rule, checked: Callable[..., Checked]) -> None:
    """The bad example breaks its rule once, and no other rule."""
    found = checked(rule.bad.plan, rule.bad.hosts)
    assert [finding.rule for finding in found.findings] == [rule.slug]


@by_slug
def test_good_breaks_no_rule(rule: Rule, checked: Callable[..., Checked]) -> None:
    """The corrected example breaks no rule."""
    assert checked(rule.good.plan, rule.good.hosts).findings == ()


@by_slug
def test_findings_are_complete(rule: Rule, checked: Callable[..., Checked]) -> None:
    """Every finding of a bad example has subjects, a message, a source, a position and a unique key."""
    found = checked(rule.bad.plan, rule.bad.hosts)
    for finding in found.findings:
        assert finding.subjects
        assert all(finding.subjects)
        assert finding.message
        assert "None" not in finding.message
        assert finding.source == RULE_NAMED[finding.rule].source
        assert finding.where.startswith(("plan.toml", "site-hosts.csv"))
        assert finding.key.startswith(f"{finding.rule}-")
    assert len({finding.key for finding in found.findings}) == len(found.findings)


@by_slug
def test_words_are_sentences(rule: Rule) -> None:
    """`what` is one sentence, and `why` is a different text."""
    assert rule.what.endswith(".")
    assert rule.why.endswith(".")
    assert rule.why != rule.what
    assert rule.source
    assert rule.bad.plan != rule.good.plan or rule.bad.hosts != rule.good.hosts
