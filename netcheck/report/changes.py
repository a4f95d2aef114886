"""Compares the checks of two revisions of a plan: the findings, and everything in the plan that can change a finding.

Two findings are the same if their keys are equal: rule, subjects, address and other party. The message is not compared,
and a renamed interface is the same subject.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from netcheck.addr import Address
from netcheck.plan.model import Cell, GrantedRequest, Plan, Route, SiteRemark
from netcheck.plan.renamed import renamed_interfaces
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding
from netcheck.survey.model import Survey

MOST_HOSTS = 200  # site hosts listed one by one; the others are counted
# Attributes of each kind of entry, with their names in the plan's files.
_OF_SUBNET = (
    ("prefix", "prefix"), ("gateway", "gateway"), ("vlan", "vlan"), ("island", "island"), ("pools", "pools"),
    ("reserved", "reserved"),
)  # fmt: skip
_OF_INTERFACE = (
    ("kind", "kind"), ("location", "place"), ("subnet", "subnet"), ("slot", "slot"), ("address", "address"),
    ("mask", "mask"), ("gateway", "gateway"), ("mac", "mac"), ("host_name", "host-name"), ("ports", "ports"),
    ("switch_port", "switch-port"), ("behind", "behind"), ("granted", "granted"), ("address6", "address6"),
    ("mask6", "mask6"), ("gateway6", "gateway6"), ("subnet6", "subnet6"),
)  # fmt: skip
_OF_ROUTER = (("island", "island"), ("interfaces", "interfaces"), ("routes", "routes"))
_OF_TRANSLATION = (("inside", "inside"), ("island", "island"))
_OF_STATION = (("address", "address"), ("island", "island"))
_OF_CONVERSATION = (("why", "why"), ("services", "services"), ("starts", "starts"))
_OF_SCHEME = (("subnet", "subnet"), ("kind", "kind"), ("location", "place"), ("name", "name"))
_OF_REMARK = (("by", "by"), ("reply", "reply"))
_OF_GRANT = (("by", "by"), ("ticket", "ticket"))
_OF_SURVEY = (("taken", "taken"), ("covers", "covers"), ("island", "island"), ("kind", "kind"))
_OF_PLAN = (
    ("keep_clear", "keep-clear"), ("survey_max_age", "survey-max-age"), ("crowded", "crowded"), ("domain", "domain"),
    ("own_islands", "own islands"),
)  # fmt: skip


class Turn(StrEnum):
    """How an entry differs from the earlier revision."""

    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"
    RENAMED = "renamed"


@dataclass(frozen=True, slots=True)
class Difference:
    """One value before and now; "" if it is not set."""

    what: str
    before: str
    now: str


@dataclass(frozen=True, slots=True)
class Changed:
    """One entry of the plan that was added, removed, changed or renamed."""

    subject: str
    turn: Turn
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class ChangeGroup:
    """The changed entries of one kind; `one` names an entry in the singular."""

    one: str
    changed: tuple[Changed, ...]

    @property
    def key(self) -> str:
        """Return the key of the group in JSON."""
        return f"{self.one.replace(' ', '_')}s"


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """Differences between a plan and its earlier revision, both checked for the same date.

    Each finding that is open now is in `new` or `remaining`. Each finding that was open before is in `gone`, in
    `agreed` (accepted since) or in `remaining`. `answered` has the findings that were accepted before and are still
    accepted.
    """

    before: Checked
    new: tuple[Finding, ...]
    gone: tuple[Finding, ...]
    agreed: tuple[Finding, ...]
    remaining: tuple[Finding, ...]
    answered: tuple[AcceptedFinding, ...]
    groups: tuple[ChangeGroup, ...]

    @property
    def subnets(self) -> tuple[Changed, ...]:
        """Return the changed subnets."""
        return self.of("subnet")

    @property
    def interfaces(self) -> tuple[Changed, ...]:
        """Return the changed interfaces."""
        return self.of("interface")

    def of(self, one: str) -> tuple[Changed, ...]:
        """Return the changed entries of one kind."""
        return next((group.changed for group in self.groups if group.one == one), ())


def changes_of(
    before: Checked, now: Checked, surveys_before: Sequence[Survey] = (), surveys: Sequence[Survey] = ()
) -> Changes:
    """Return the differences between the checks of two revisions of one plan."""
    names = renamed_interfaces(before.plan, now.plan)
    earlier = [(one, _renamed_key(one, names)) for one in before.findings]
    present = [(one, one.key) for one in now.findings]
    accepted = [(each.finding, each.finding.key) for each in now.accepted]
    remaining, new = _split(present, earlier)
    _, closed = _split(earlier, present)
    agreed, gone = _split([(one, _renamed_key(one, names)) for one in closed], accepted)
    known = {_renamed_key(each.finding, names) for each in before.accepted}
    answered = tuple(each for each in now.accepted if each.finding.key in known)
    groups = tuple(_groups(before.plan, now.plan, surveys_before, surveys))
    return Changes(
        before=before, new=new, gone=gone, agreed=agreed, remaining=remaining, answered=answered, groups=groups
    )


def _renamed_key(finding: Finding, names: Mapping[str, str]) -> str:
    """Return the key that a finding of the earlier revision has with the present names of interfaces."""
    subjects, others = (
        tuple(names.get(name, name) for name in several) for several in (finding.subjects, finding.others)
    )
    return finding._replace(subjects=subjects, others=others).key


Keyed = Sequence[tuple[Finding, str]]


def _split(findings: Keyed, others: Keyed) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Split findings by key into those that *others* contain too and the rest; a repeated key counts repeatedly."""
    left = Counter(key for _, key in others)
    both: list[Finding] = []
    alone: list[Finding] = []
    for finding, key in findings:
        (both if left[key] > 0 else alone).append(finding)
        left[key] -= 1
    return tuple(both), tuple(alone)


Values = tuple[tuple[str, str], ...]


def _groups(old: Plan, now: Plan, surveys_before: Sequence[Survey], surveys: Sequence[Survey]) -> Iterator[ChangeGroup]:
    """Yield every kind of entry that can change a finding or a request; kinds without a change are empty."""
    yield ChangeGroup("subnet", tuple(_changed(old.subnet_named, now.subnet_named, _OF_SUBNET)))
    yield ChangeGroup(
        "interface",
        tuple(
            _renamed(_changed(old.interface_named, now.interface_named, _OF_INTERFACE), renamed_interfaces(old, now))
        ),
    )
    yield ChangeGroup("router", tuple(_changed(old.router_named, now.router_named, _OF_ROUTER)))
    yield ChangeGroup("translation", tuple(_changed(*_by_subject(old.translations, now.translations), _OF_TRANSLATION)))
    stations = [{each.name: each for each in plan.stations} for plan in (old, now)]
    yield ChangeGroup("station", tuple(_changed(stations[0], stations[1], _OF_STATION)))
    talks = [{f"{each.source} to {each.target}": each for each in plan.conversations} for plan in (old, now)]
    yield ChangeGroup("conversation", tuple(_changed(talks[0], talks[1], _OF_CONVERSATION)))
    yield ChangeGroup("scheme", tuple(_changed(*_by_subject(old.schemes, now.schemes), _OF_SCHEME)))
    yield ChangeGroup("setting", tuple(_settings(old, now)))
    said = [{_about(each): each for each in plan.remarks} for plan in (old, now)]
    yield ChangeGroup("site remark", tuple(_changed(said[0], said[1], _OF_REMARK)))
    grants = [{_asked(each): each for each in plan.granted} for plan in (old, now)]
    yield ChangeGroup("granted request", tuple(_changed(grants[0], grants[1], _OF_GRANT)))
    lists = [{each.file: each for each in plan.surveys} for plan in (old, now)]
    yield ChangeGroup("survey", tuple(_changed(lists[0], lists[1], _OF_SURVEY)))
    yield ChangeGroup("site host", tuple(_hosts(old, now, surveys_before, surveys)))


def _about(remark: SiteRemark) -> str:
    """Return words that distinguish a remark from other remarks on the same finding."""
    words = " ".join(filter(None, (remark.decision, remark.change_to, remark.remark)))
    return f"{remark.rule} of {remark.subject}: {words}"


def _asked(grant: GrantedRequest) -> str:
    return f"{grant.kind} of {grant.subject}: {grant.what or grant.address}"


def _by_subject(old: Iterable[Any], now: Iterable[Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    return {each.subject: each for each in old}, {each.subject: each for each in now}


def _changed(old: Mapping[str, Any], new: Mapping[str, Any], values: Values) -> Iterator[Changed]:
    for subject, thing in new.items():
        differences = tuple(_differences(old.get(subject), thing, values))
        if subject not in old or differences:
            yield Changed(subject, Turn.CHANGED if subject in old else Turn.ADDED, differences)
    for subject, thing in old.items():
        if subject not in new:
            yield Changed(subject, Turn.REMOVED, tuple(_differences(thing, None, values)))


def _renamed(changes: Iterable[Changed], names: Mapping[str, str]) -> Iterator[Changed]:
    """Join the removed and the added entry of each renamed interface."""
    several = list(changes)
    removed = {each.subject: each for each in several if each.turn is Turn.REMOVED and each.subject in names}
    earlier = {now: removed[was] for was, now in names.items() if was in removed}
    for each in several:
        was = earlier.get(each.subject) if each.turn is Turn.ADDED else None
        if was is not None:
            yield _joined(was, each)
        elif each.turn is not Turn.REMOVED or each.subject not in removed:
            yield each


def _joined(was: Changed, each: Changed) -> Changed:
    before = {one.what: one.before for one in was.differences}
    now = {one.what: one.now for one in each.differences}
    rest = (Difference(name, before.get(name, ""), now.get(name, "")) for name in dict.fromkeys((*now, *before)))
    name = Difference("name", was.subject, each.subject)
    return Changed(each.subject, Turn.RENAMED, (name, *(one for one in rest if one.before != one.now)))


def _settings(old: Plan, now: Plan) -> Iterator[Changed]:
    for attribute, name in _OF_PLAN:
        before, after = _text(getattr(old, attribute)), _text(getattr(now, attribute))
        if before != after:
            yield Changed(name, Turn.CHANGED, (Difference(name, before, after),))


def _hosts(old: Plan, now: Plan, surveys_before: Sequence[Survey], surveys: Sequence[Survey]) -> Iterator[Changed]:
    """Yield the site hosts in the plan's subnets that a survey gained or lost, at most `MOST_HOSTS`."""
    before, after = _held(old, now, surveys_before), _held(old, now, surveys)
    several = [(address, Turn.REMOVED) for address in before.keys() - after.keys()]
    several += [(address, Turn.ADDED) for address in after.keys() - before.keys()]
    several += [(each, Turn.CHANGED) for each in before.keys() & after.keys() if before[each] != after[each]]
    several.sort(key=lambda pair: (pair[0][0], pair[0][1].family, pair[0][1].value))
    for (island, address), turn in several[:MOST_HOSTS]:
        where = f"{address} ({island})" if island != "site" else str(address)
        was, is_now = before.get((island, address), ""), after.get((island, address), "")
        yield Changed(where, turn, (Difference("host", was, is_now),))
    if len(several) > MOST_HOSTS:
        yield Changed(f"{len(several) - MOST_HOSTS:,} more site hosts", Turn.CHANGED)


def _held(old: Plan, now: Plan, surveys: Sequence[Survey]) -> dict[tuple[str, Address], str]:
    """Return the site hosts by island and address, in words, inside the subnets of either revision."""
    prefixes = {
        (subnet.island, subnet.prefix.value)
        for plan in (old, now)
        for subnet in plan.subnets
        if subnet.prefix.value is not None
    }
    found: dict[tuple[str, Address], list[str]] = {}
    for survey in surveys:
        for island, prefix in prefixes:
            if island == survey.island:
                for host in survey.hosts.between(prefix.first, prefix.last):
                    words = " ".join(filter(None, (host.name, str(host.mac) if host.mac else "")))
                    found.setdefault((island, host.address), []).append(words or "no name and no MAC")
    return {key: ", ".join(sorted(set(words))) for key, words in found.items()}


def _differences(old: Any, new: Any, values: Values) -> Iterator[Difference]:
    for value, name in values:
        before, now = (_text(getattr(one, value)) if one else "" for one in (old, new))
        if before != now and not (value == "ports" and {before, now} == {"", "1"}):
            yield Difference(name, before, now)


def _text(value: Any) -> str:
    """Return a value in canonical spelling: `/24` and 255.255.255.0 are the same mask."""
    match value:
        case None:
            return ""
        case Cell():
            return value.text if value.value is None else str(value.value)
        case Route():
            return f"{_text(value.to)} via {_text(value.via)}"
        case tuple():
            return ", ".join(map(_text, value))
        case frozenset():
            return ", ".join(sorted(map(str, value)))
    return str(value)
