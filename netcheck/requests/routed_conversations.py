"""Finds the conversations that a firewall may block: conversations through a router or a translation."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from netcheck.addr import Address
from netcheck.plan.model import Interface, Plan, Subnet, Translation
from netcheck.requests.model import Request, RequestKind
from netcheck.rules.reachability.trace import Delivery, Trace, TracedConversation

Face = tuple[Interface, Subnet]


@dataclass(frozen=True, slots=True)
class _End:
    """One end of a conversation, as the island of the other end sees it; `address` is its address in packets there."""

    face: Interface
    subnet: Subnet
    address: str
    inside: str = ""

    def __str__(self) -> str:
        where = f"{self.subnet.name}, {self.inside} inside" if self.inside else self.subnet.name
        return f"{self.face.subject} {self.address} ({where})"


def requests_of(plan: Plan, talks: tuple[TracedConversation, ...], faces: tuple[Face, ...]) -> Iterator[Request]:
    """Yield one request for each service and each address family that both ends have.

    If the ends have no common family, each end has the addresses that it has.
    """
    by_subject: dict[str, list[Face]] = {}
    for face, subnet in faces:
        by_subject.setdefault(face.subject, []).append((face, subnet))
    translations: dict[tuple[str, Address], list[Translation]] = {}
    for each in plan.translations:
        if each.inside.value is not None and each.outside.value is not None:
            translations.setdefault((each.island, each.inside.value), []).append(each)
    for talk in talks:
        ends = by_subject[talk.conversation.source], by_subject[talk.conversation.target]
        for first, (one, two) in enumerate(_pairs(*ends)):
            inside = {one[1].island, two[1].island} <= plan.islands_without_it and one[1].island == two[1].island
            if one[1].name != two[1].name and not inside:
                source, target = _end(plan, translations, one, two[1]), _end(plan, translations, two, one[1])
                for service in talk.conversation.services or ("",):
                    yield _request(talk, source, target, service, traced=not first)


def _pairs(sources: list[Face], targets: list[Face]) -> list[tuple[Face, Face]]:
    pairs = [(one, two) for one in sources for two in targets]
    shared = [(one, two) for one, two in pairs if None is not _family(one[0]) == _family(two[0])]
    return shared or pairs[:1]


def _family(face: Interface) -> int | None:
    return face.address.value.family if face.address and face.address.value else None


def _end(plan: Plan, translations: dict[tuple[str, Address], list[Translation]], face: Face, other: Subnet) -> _End:
    """Return an end of a conversation with the address that it has in the island of the other end."""
    interface, subnet = face
    address = interface.address.value if interface.address else None
    if address is None:
        return _End(interface, subnet, address_of(interface))
    several = translations.get((subnet.island, address), []) if subnet.island != other.island else []
    if not several and subnet.island != other.island:
        several = [
            one
            for one in plan.translations
            if one.island == subnet.island and one.sources and one.sources.value and one.sources.value.holds(address)
        ]
    into = [one for one in several if plan.outer_island(one) == other.island] or several
    if into:
        return _End(interface, subnet, str(into[0].outside.value), str(address))
    return _End(interface, subnet, str(address))


def address_of(face: Interface) -> str:
    """Return an interface's address, or why it has none; the reservation shows an unreadable text."""
    if face.address is None:
        return "no address yet"
    return str(face.address.value) if face.address.value else "not readable"


def _request(talk: TracedConversation, source: _End, target: _End, service: str, *, traced: bool) -> Request:
    """Return the request; *traced* is True if the conversation's paths are those of these addresses.

    Only the first address family is traced.
    """
    failed = [*_undelivered("there", talk.there), *_undelivered("back", talk.back)] if traced else []
    inside = [f"{source.inside} inside {source.subnet.island}"] if source.inside else []
    protocol, _, port = service.partition(" ")
    return Request(
        kind=RequestKind.CONVERSATION,
        subject=source.face.subject,
        island=source.subnet.island,
        address=source.address,
        subnet=source.subnet.name,
        what=", ".join(filter(None, (str(target), service, _opened_by_words(talk)))),
        note="; ".join([*([talk.conversation.why] if talk.conversation.why else []), *inside, *failed]),
        to=target.face.subject,
        to_address=target.address,
        protocol=protocol,
        port=port,
        opened_by=_opened_by(talk),
    )


def _opened_by_words(talk: TracedConversation) -> str:
    """Return which side opens connections, or `both ways` if the plan does not say it."""
    conversation = talk.conversation
    ends = {"from": conversation.source, "to": conversation.target}
    return f"opened by {ends[conversation.starts]}" if conversation.starts in ends else "both ways"


def _opened_by(talk: TracedConversation) -> str:
    """Return the side that opens connections, for the column of that name."""
    conversation = talk.conversation
    sides = {"from": conversation.source, "to": conversation.target, "both": "both sides"}
    return sides.get(conversation.starts, "not stated")


def _undelivered(direction: str, path: Trace) -> list[str]:
    return [] if path.outcome is Delivery.DELIVERED else [f"{direction} {path.outcome.value}: {path.why}"]
