"""Rules on conversations: whether packets arrive in both directions."""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.rules.finding import Breach, Severity
from netcheck.rules.reachability.trace import Delivery, Trace, TracedConversation
from netcheck.rules.rule import PROCESS, Rule, device, plan
from netcheck.rules.scene import Scene


def _breach(traced: TracedConversation, message: str) -> Breach:
    conversation = traced.conversation
    return Breach((conversation.source, conversation.target), message, str(conversation.position))


def _why(path: Trace) -> str:
    return f"{path.why}; {path.change}" if path.change else path.why


def through(path: Trace) -> str:
    """Return ` through 10.62.20.1, 10.62.40.126`, or nothing if the packets pass no router."""
    return " through " + ", ".join(map(str, path.through)) if path.through else ""


def _no_way_there(scene: Scene) -> Iterator[Breach]:
    for traced in scene.conversations:
        if traced.there.outcome is Delivery.LOST:
            yield _breach(traced, f"the packets{through(traced.there)} are lost: {_why(traced.there)}")


def _no_way_back(scene: Scene) -> Iterator[Breach]:
    for traced in scene.conversations:
        if traced.there.outcome is Delivery.DELIVERED and traced.back.outcome is Delivery.LOST:
            arrive = f"the packets arrive{through(traced.there) or ' directly'}"
            yield _breach(traced, f"{arrive}, but the replies{through(traced.back)} are lost: {_why(traced.back)}")


def _undecided(scene: Scene) -> Iterator[Breach]:
    for traced in scene.conversations:
        outcomes = (traced.there.outcome, traced.back.outcome)
        if Delivery.UNDECIDED in outcomes and Delivery.LOST not in outcomes:
            forward = outcomes[0] is Delivery.UNDECIDED
            what, path = ("packets", traced.there) if forward else ("replies", traced.back)
            yield _breach(traced, f"it is not known whether the {what} arrive: {path.why}")


_BARE = '[[subnet]]\nname = "packing"\nprefix = "10.62.30.0/24"'
_PACKING = f'{_BARE}\ngateway = "10.62.30.1"'
_STUB = '[[router]]\nname = "site-router"\ninterfaces = ["10.62.20.1/24"]'
_ROUTER = '[[router]]\nname = "site-router"\ninterfaces = ["10.62.20.1/24", "10.62.30.1/24"]'
_TALK = '[[conversation]]\nfrom = "filler-plc/cpu"\nto = "line-panel/lan"'
_PLC = device("filler-plc", cpu='address = "10.62.20.61"')
_PANEL = device("line-panel", lan='subnet = "packing"\naddress = "10.62.30.73"')
_WITH_GATEWAY = PROCESS + '\ngateway = "10.62.20.1"'

NO_WAY_THERE = Rule(
    slug="no-way-there",
    severity=Severity.CONFLICT,
    what="A conversation's packets cannot reach the far end.",
    why="The devices answer on the bench, but after installation they cannot communicate. The addresses, masks, "
    "gateways and routes of the plan show at which hop the packets are lost.",
    bad=plan(_PACKING, _PLC, _PANEL, _STUB, _TALK, subnet=_WITH_GATEWAY),
    good=plan(_PACKING, _PLC, _PANEL, _ROUTER, _TALK, subnet=_WITH_GATEWAY),
    source="RFC 1122 section 3.3.1.1; RFC 1812 section 5.2.4.3",
    check=_no_way_there,
)
NO_WAY_BACK = Rule(
    slug="no-way-back",
    severity=Severity.CONFLICT,
    what="A conversation's packets reach the far end, but the reply cannot return.",
    why="The far end looks dead, but its mask or gateway is wrong, or a route: the request arrives, and the reply does "
    "not find its way back.",
    bad=plan(_BARE, _PLC, _PANEL, _ROUTER, _TALK, subnet=_WITH_GATEWAY),
    good=plan(_PACKING, _PLC, _PANEL, _ROUTER, _TALK, subnet=_WITH_GATEWAY),
    source="RFC 1122 section 3.3.1.1; RFC 1219 section 2.2",
    check=_no_way_back,
)
CONVERSATION_UNDECIDED = Rule(
    slug="conversation-undecided",
    severity=Severity.NOTE,
    what="The plan does not say enough to decide whether the packets of a conversation arrive.",
    why="The conversation was not checked: the plan does not describe a router, or a value on the path cannot be read.",
    do="Add the `[[router]]` of the gateway, or correct the value.",
    bad=plan(_PACKING, _PLC, _PANEL, _TALK, subnet=_WITH_GATEWAY),
    good=plan(_PACKING, _PLC, _PANEL, _ROUTER, _TALK, subnet=_WITH_GATEWAY),
    source="our own rule, because a conversation that could not be checked must not look like one that was",
    check=_undecided,
)
