"""Accepted findings are separated, open again after their last day, and never hide a new clash."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Severity
from netcheck.rules.rule import device, one, plan

CAMERA = "address,mac,name\n10.62.20.61,00-00-5E-00-53-99,gate-camera\n"
PLACED = 'address = "10.62.20.61"'


def entry(rule: str = "taken-on-site", subject: str = "filler-plc/cpu", **more: str) -> str:
    """Return an accepted entry."""
    keys = {"rule": rule, "subject": subject, "by": "site IT", "because": "it is taken out in week 50", **more}
    return (
        "[[accepted]]\n"
        + "\n".join(f'{key} = "{value}"' for key, value in keys.items() if key != "until")
        + (f"\nuntil = {more['until']}" if "until" in more else "")
    )


def rules(found: Checked) -> set[str]:
    """Return the rules of the open findings."""
    return {finding.rule for finding in found.findings}


@pytest.mark.parametrize(
    ("more", "accepted"),
    [
        ({}, True),
        ({"address": "10.62.20.61"}, True),
        ({"address": "10.62.20.62"}, False),
        ({"with": "00:00:5e:00:53:99"}, True),
        ({"with": "GATE-CAMERA"}, True),
        ({"with": "00-00-5E-00-53-98"}, False),
        ({"address": "10.62.20.61", "with": "00-00-5E-00-53-98"}, False),
        ({"subject": "filler-plc"}, False),
        ({"rule": "too-near"}, False),
    ],
    ids=str,
)
def test_an_entry_matches_by_the_values_it_names(
    more: dict[str, str], accepted: bool, checked: Callable[..., Checked]
) -> None:
    """An entry matches by rule and subject, and by address and other party if it names them."""
    example = one(PLACED, entry(**more), hosts=CAMERA)
    found = checked(example.plan, example.hosts)
    assert len(found.accepted) == accepted
    assert ("taken-on-site" in rules(found)) == (not accepted)
    assert ("accepted-unused" in rules(found)) == (not accepted)
    assert found.summary["accepted"] == accepted
    assert found.count(Severity.CONFLICT) == (not accepted)


def test_who_why_and_until(checked: Callable[..., Checked]) -> None:
    """An accepted finding keeps the person, the reason and the last day."""
    example = one(PLACED, entry(until="2026-12-31"), hosts=CAMERA)
    (agreed,) = checked(example.plan, example.hosts).accepted
    assert (agreed.by, agreed.because, agreed.until) == ("site IT", "it is taken out in week 50", date(2026, 12, 31))
    assert agreed.finding.rule == "taken-on-site"
    assert agreed.finding.fix is None


@pytest.mark.parametrize(("day", "returned"), [(date(2026, 11, 2), False), (date(2026, 11, 3), True)])
def test_after_its_last_day_the_finding_is_open_again(
    day: date, returned: bool, checked: Callable[..., Checked]
) -> None:
    """On the last day it is still accepted; on the next day it is open and says so, and the entry is not unused."""
    example = one(PLACED, entry(until="2026-11-02"), hosts=CAMERA)
    found = checked(example.plan, example.hosts, day)
    messages = [finding.message for finding in found.findings if finding.rule == "taken-on-site"]
    assert bool(messages) == returned
    assert all("accepted by site IT until 2026-11-02" in message for message in messages)
    assert "accepted-unused" not in rules(found)


def test_a_second_stranger_is_not_covered(checked: Callable[..., Checked]) -> None:
    """The entry names the camera; if a second host has the address, the finding is open again."""
    agreed = entry(**{"with": "00-00-5E-00-53-99"})
    example = one(PLACED, agreed, hosts=CAMERA + "10.62.20.61,00-00-5E-00-53-98,laptop\n")
    assert "taken-on-site" in rules(checked(example.plan, example.hosts))


@pytest.mark.parametrize(
    ("other", "accepted"), [("b-plc/cpu", False), ("b-plc/cpu, c-plc/cpu", True), ("c-plc/cpu,b-plc/cpu", True)]
)
def test_a_third_holder_is_not_covered(other: str, accepted: bool, checked: Callable[..., Checked]) -> None:
    """`with` names all other subjects of a finding with several subjects."""
    agreed = entry("planned-twice", "a-plc/cpu", **{"with": other})
    example = plan(*(device(f"{name}-plc", cpu=PLACED) for name in "abc"), agreed)
    assert ("planned-twice" in rules(checked(example.plan))) == (not accepted)


def test_an_entry_may_name_any_subject(checked: Callable[..., Checked]) -> None:
    """An entry without `with` may name any subject of the finding."""
    example = plan(*(device(f"{name}-plc", cpu=PLACED) for name in "ab"), entry("planned-twice", "b-plc/cpu"))
    assert "planned-twice" not in rules(checked(example.plan))


def test_an_unused_entry_is_a_note(checked: Callable[..., Checked]) -> None:
    """The note names the rule that the entry accepts, and has the entry's subject and position."""
    example = one(PLACED, entry("too-near", address="10.62.20.99"))
    (note,) = (each for each in checked(example.plan).findings if each.rule == "accepted-unused")
    assert note.subjects == ("filler-plc/cpu",)
    assert "too-near" in note.message
    assert "10.62.20.99" in note.message
    assert note.where.startswith("plan.toml")


def test_a_misspelt_rule_is_named(checked: Callable[..., Checked]) -> None:
    """An entry for an unknown rule is unused, and the note suggests the rule."""
    example = one(PLACED, entry("taken-onsite"), hosts=CAMERA)
    (note,) = (each for each in checked(example.plan, example.hosts).findings if each.rule == "accepted-unused")
    assert note.message == "there is no rule taken-onsite; did you mean taken-on-site?"


def test_an_entry_without_address_is_a_risk(checked: Callable[..., Checked]) -> None:
    """An entry with rule and subject alone still accepts, and a risk says which keys would restrict it."""
    example = RULE_NAMED["accepted-too-wide"].bad
    found = checked(example.plan)
    (risk,) = (each for each in found.findings if each.rule == "accepted-too-wide")
    assert (risk.severity, [each.finding.rule for each in found.accepted]) == ("risk", ["outside-subnet"])
    assert 'add address = "10.62.21.61"' in risk.message
    narrow = example.plan.replace('by = "site IT"\n', 'by = "site IT"\naddress = "10.62.21.61"\n')
    assert "accepted-too-wide" not in [each.rule for each in checked(narrow).findings]
    moved = narrow.replace('address = "10.62.21.61"', 'address = "10.62.22.61"', 1)
    assert "outside-subnet" in [each.rule for each in checked(moved).findings]
