"""Computes which part of each subnet the surveys cover, and how many site hosts they list in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

from netcheck.addr import Prefix
from netcheck.plan.model import Plan, Subnet
from netcheck.space.intervals import Spans, prefixes_of, range_of
from netcheck.survey.model import Survey, hosts_of


@dataclass(frozen=True, slots=True)
class SubnetCoverage:
    """The coverage of one subnet.

    `hosts` is the number of distinct site hosts. `files` list hosts in the subnet or cover a part of it. `uncovered`
    are the parts that no file covers. If `prefix` is None, it cannot be read and the coverage is unknown.
    """

    subnet: str
    prefix: Prefix | None
    hosts: int
    files: tuple[str, ...]
    uncovered: tuple[Prefix, ...]

    @property
    def covered(self) -> str:
        """Return `wholly`, `partly` or `no`."""
        if self.prefix is None or sum(part.size for part in self.uncovered) == self.prefix.size:
            return "no"
        return "partly" if self.uncovered else "wholly"


def coverage_of(plan: Plan, surveys: Sequence[Survey]) -> tuple[SubnetCoverage, ...]:
    """Return the coverage of every subnet of a plan, in plan order."""
    return tuple(_coverage(subnet, [one for one in surveys if one.island == subnet.island]) for subnet in plan.subnets)


def _coverage(subnet: Subnet, surveys: Sequence[Survey]) -> SubnetCoverage:
    prefix = subnet.prefix.value
    if prefix is None:
        return SubnetCoverage(subnet.name, None, 0, (), ())
    window = range_of(prefix)
    spans = Spans(range_of(covered) for survey in surveys for covered in survey.covers)
    files = [one.file for one in surveys if any(map(prefix.overlaps, one.covers)) or one.hosts.count(window)]
    uncovered = chain.from_iterable(map(prefixes_of, spans.gaps(window)))
    hosts = hosts_of(surveys, subnet.island).count(window)
    return SubnetCoverage(
        subnet=subnet.name, prefix=prefix, hosts=hosts, files=tuple(files), uncovered=tuple(uncovered)
    )
