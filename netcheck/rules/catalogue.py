"""All rules, in the order in which they are listed and, within a subject, reported."""

from __future__ import annotations

from netcheck.rules import addresses, agreed, clashes, gateways, hardware, masks, names, reading, subnets, surveying
from netcheck.rules.rule import Rule

RULES: tuple[Rule, ...] = (
    reading.UNREADABLE_VALUE,
    addresses.OUTSIDE_SUBNET,
    addresses.UNUSABLE_ADDRESS,
    addresses.SPECIAL_PURPOSE,
    addresses.PUBLIC_ADDRESS,
    masks.MASK_BROKEN,
    masks.MASK_DIFFERS,
    addresses.PLANNED_TWICE,
    clashes.TAKEN_ON_SITE,
    clashes.ALREADY_THERE,
    clashes.INSIDE_POOL,
    clashes.INSIDE_RESERVED,
    clashes.IS_GATEWAY,
    clashes.IS_STATION,
    hardware.MAC_UNUSABLE,
    hardware.MAC_LOCAL,
    hardware.MAC_PLANNED_TWICE,
    hardware.MAC_ELSEWHERE,
    names.NAME_UNUSABLE,
    names.NAME_PLANNED_TWICE,
    names.NAME_TAKEN_ON_SITE,
    hardware.SWITCH_PORT_TWICE,
    gateways.GATEWAY_OFF_LINK,
    gateways.GATEWAY_UNUSABLE,
    gateways.GATEWAY_DIFFERS,
    subnets.SAME_SUBNET_TWICE,
    subnets.SUBNETS_OVERLAP,
    subnets.VLAN_UNUSABLE,
    subnets.VLAN_REUSED,
    clashes.TOO_NEAR,
    subnets.CROWDED,
    surveying.NOT_SURVEYED,
    surveying.SURVEY_STALE,
    surveying.SURVEY_DISAGREES,
    addresses.UNPLACED,
    agreed.ACCEPTED_UNUSED,
)
RULE_NAMED: dict[str, Rule] = {rule.slug: rule for rule in RULES}
