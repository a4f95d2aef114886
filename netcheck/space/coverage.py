"""Which of a plan's subnets the lists of site hosts say anything about: what they cover, and whom they have in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

from netcheck.addr import Prefix
from netcheck.plan.model import Plan, Subnet
from netcheck.space.intervals import Spans, prefixes_of, range_of
from netcheck.survey.model import Survey, hosts_of


@dataclass(frozen=True, slots=True)
class Evidence:
    """What lists say of one subnet: distinct site hosts in it, the files that have any or that cover a part of it, and
    the parts that no file covers. `prefix` is None where the plan's cannot be read; nothing is then known."""

    subnet: str
    prefix: Prefix | None
    hosts: int
    files: tuple[str, ...]
    uncovered: tuple[Prefix, ...]

    @property
    def covered(self) -> str:
        """`wholly`, `partly` or `no`."""
        if self.prefix is None or sum(part.size for part in self.uncovered) == self.prefix.size:
            return "no"
        return "partly" if self.uncovered else "wholly"


def evidence_for(plan: Plan, surveys: Sequence[Survey]) -> tuple[Evidence, ...]:
    """The evidence for every subnet of a plan, in its order."""
    return tuple(_evidence(subnet, [one for one in surveys if one.island == subnet.island]) for subnet in plan.subnets)


def _evidence(subnet: Subnet, surveys: Sequence[Survey]) -> Evidence:
    prefix = subnet.prefix.value
    if prefix is None:
        return Evidence(subnet.name, None, 0, (), ())
    window = range_of(prefix)
    spans = Spans(range_of(covered) for survey in surveys for covered in survey.covers)
    files = [one.file for one in surveys if any(map(prefix.overlaps, one.covers)) or one.hosts.count(window)]
    uncovered = chain.from_iterable(map(prefixes_of, spans.gaps(window)))
    return Evidence(subnet.name, prefix, hosts_of(surveys, subnet.island).count(window), tuple(files), tuple(uncovered))
