"""Describes the JSON that netcheck writes: the findings of `check`, a whole report, and a line of a record.

JSON Schema 2020-12. Further keys are allowed, because later versions add keys. The tests forbid further keys when they
check real output, so that every new key must be described here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from netcheck.answers.table import Decision, box_of
from netcheck.proof.result import Phase, Verdict
from netcheck.record.chain import LineKind
from netcheck.report.changes import Turn
from netcheck.report.csv_tables import REQUEST_COLUMNS
from netcheck.report.part_rows import SAID_COLUMNS
from netcheck.rules.finding import Severity

Shape = dict[str, Any]
DIALECT = "https://json-schema.org/draft/2020-12/schema"
TEXT: Shape = {"type": "string"}
NULL: Shape = {"type": "null"}
NUMBER: Shape = {"type": "number"}
TEXT_OR_NULL: Shape = {"type": ["string", "null"]}
WHOLE: Shape = {"type": "integer", "minimum": 0}
FLAG: Shape = {"type": "boolean"}
DAY_OR_NULL: Shape = {"type": ["string", "null"], "format": "date"}
NUMBER_OR_NULL: Shape = {"type": ["number", "null"], "minimum": 0}
SHA256: Shape = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
MOMENT: Shape = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$"}
VERDICT: Shape = {"enum": [str(verdict) for verdict in Verdict]}


def _object(required: Shape, optional: Shape | None = None, **more: Any) -> Shape:
    properties = {**required, **(optional or {})}
    return {"type": "object", "properties": properties, "required": list(required), **more}


def _list(items: Shape, **more: Any) -> Shape:
    return {"type": "array", "items": items, **more}


def _map(values: Shape) -> Shape:
    return {"type": "object", "additionalProperties": values}


def _of(shape: Shape, **more: Any) -> Shape:
    """Return the shape of an object with further required properties."""
    return _object({**{key: shape["properties"][key] for key in shape["required"]}, **more}, _optional(shape))


def _optional(shape: Shape) -> Shape:
    return {key: value for key, value in shape["properties"].items() if key not in shape["required"]}


_FINDING = _object(
    {
        "rule": TEXT,
        "severity": {"enum": [str(severity) for severity in Severity]},
        "subjects": _list(TEXT, minItems=1),
        "address": TEXT_OR_NULL,
        "message": TEXT,
        "source": TEXT,
        "fix": {
            "oneOf": [{"type": "null"}, _object({"address": TEXT}), _object({"addresses": _map(TEXT)})],
            "description": "The free address for the only subject, or one address for each subject that must change.",
        },
        "where": TEXT,
    }
)
_ACCEPTED = _object(
    {**_FINDING["properties"], "by": TEXT, "because": TEXT, "until": DAY_OR_NULL},
    {"decided": {**TEXT, "format": "date"}},
)
_PLAN = _object({"name": TEXT, "revision": TEXT, "sha256": SHA256})
_COUNTS = (*map(str, Severity), "accepted", "interfaces", "site_hosts")
_CHECK = _object(
    {
        "netcheck": TEXT,
        "plan": _PLAN,
        "summary": _object(dict.fromkeys(_COUNTS, WHOLE)),
        "findings": _list(_FINDING),
        "accepted": _list(_ACCEPTED),
    }
)
_WAY = _object({"outcome": TEXT, "through": _list(TEXT), "why": TEXT_OR_NULL, "change": TEXT_OR_NULL})
_PATHS = _list(_object({"from": TEXT, "to": TEXT, "there": _WAY, "back": _WAY}))
_UNREAD = _object(
    {
        "netcheck": TEXT,
        "plan": _object({"name": TEXT, "revision": {"type": "null"}, "sha256": {"type": "null"}}),
        **dict.fromkeys(("summary", "findings", "accepted"), NULL),
        "problems": _list(_object({"what": TEXT, "where": TEXT, "do": TEXT})),
    }
)

_RTT = {"oneOf": [NULL, _object(dict.fromkeys(("min", "median", "max"), NUMBER))]}
_TALLY = _list(WHOLE, minItems=2, maxItems=2, description="Number of requests sent, number answered in time.")
_PHASE = _object({"arp": _TALLY, "echo": _TALLY, "seconds": {"type": "number"}, "rtt_ms": _RTT})
_PROOF = _object(
    {
        "interface": TEXT,
        "port": TEXT,
        "address": TEXT,
        "verdict": VERDICT,
        "why": TEXT,
        **dict.fromkeys(("mac", "vendor", "echo", "cable", "connector", "identity"), TEXT_OR_NULL),
        "luck": NUMBER_OR_NULL,
        "unheard": NUMBER_OR_NULL,
        "others": _list(_object({"mac": TEXT, "address": TEXT, "phase": TEXT, "known_as": TEXT_OR_NULL})),
        "phases": _object({str(phase): {"oneOf": [_PHASE, {"type": "object", "maxProperties": 0}]} for phase in Phase}),
        "notes": _list(TEXT),
        "evidence": _map(TEXT),
    },
)
_SAID = {"at": TEXT, "by": TEXT_OR_NULL, "text": TEXT}
_ATTEMPT = _object({"verdict": VERDICT, "at": TEXT, "by": TEXT_OR_NULL, "record": TEXT, "line": WHOLE})
_PORT = _object(
    {
        **_PROOF["properties"],
        "at": TEXT_OR_NULL,
        "record": TEXT_OR_NULL,
        "line": {"type": ["integer", "null"], "minimum": 1},
        "not_counted": _list(TEXT),
        "attempts": _list(_ATTEMPT),
        "remarks": _list(_object(_SAID)),
    },
    {"simulated": FLAG},
)
_RUN = _object(
    {"plan": _PLAN, **dict.fromkeys(("netcheck", "station", "interface", "permit"), TEXT), "simulated": FLAG},
    {"by": TEXT, "local": TEXT},
)
_FILE = {"name": TEXT, "size": WHOLE, "sha256": SHA256}
_RECORD_STATE = _object(
    {
        "record": TEXT,
        "state": {"enum": ["intact", "torn", "broken"]},
        "lines": WHOLE,
        "proofs": WHOLE,
        "verdicts": _map(WHOLE),
        "ended": FLAG,
        "line": {"type": ["integer", "null"]},
        "n": {"type": ["integer", "null"]},
        "reason": TEXT_OR_NULL,
        "seal": TEXT_OR_NULL,
        "notes": _list(TEXT),
        "plan": _object({"name": TEXT, "revision": TEXT}),
        "simulated": FLAG,
        "plan_sha256": TEXT,
        "same_plan": FLAG,
        "runs": _list(_RUN),
        "attachments": _list(_object(_FILE)),
    },
    {"contradictions": _list(TEXT)},
)

_CHOICES = _list({"enum": [*map(box_of, Decision)]})
_NUMBERED = {"key": TEXT, "number": {"type": "integer", "minimum": 1}, "choices": _CHOICES}
_REMARK = _object({"number": {"type": ["integer", "null"]}, **dict.fromkeys(SAID_COLUMNS[1:], TEXT_OR_NULL)})
_REQUEST = _object({"kind": TEXT, "subject": TEXT}, dict.fromkeys(REQUEST_COLUMNS[2:], TEXT))
_CHANGED = _object(
    {
        "subject": TEXT,
        "turn": {"enum": [str(turn) for turn in Turn]},
        "values": _map(_object({"before": TEXT_OR_NULL, "now": TEXT_OR_NULL})),
    }
)
_GROUPS = (
    "subnets", "interfaces", "routers", "translations", "stations", "conversations", "schemes", "settings",
    "site_remarks", "granted_requests", "surveys", "site_hosts",
)  # fmt: skip
_CHANGES = _object(
    {
        "since": _PLAN,
        "new": _list(TEXT),
        "gone": _list(_of(_FINDING, key=TEXT)),
        **dict.fromkeys(("accepted", "remaining", "answered"), _list(TEXT)),
        **dict.fromkeys(_GROUPS, _list(_CHANGED)),
    }
)
_USE = _object(
    {"address": TEXT, "use": TEXT},
    dict.fromkeys(("who", "name", "mac", "switch_port", "place", "source", "description", "remark"), TEXT),
)
_ADDRESSES = _object({"subnet": TEXT, "prefix": TEXT, "island": TEXT, "uses": _list(_USE), "left_out": WHOLE})


def report_schema() -> Shape:
    """Return the schema of `report --out FILE.json`."""
    report = _object(
        {
            **_CHECK["properties"],
            "findings": _list(_of(_FINDING, **_NUMBERED)),
            "accepted": _list(_of(_ACCEPTED, **_NUMBERED)),
            "today": {**TEXT, "format": "date"},
            "reply_by": DAY_OR_NULL,
            "sent_by": TEXT_OR_NULL,
            "simulated": FLAG,
            "does_not_fit": _list(TEXT),
            "site_remarks": _list(_REMARK),
            "addresses": _list(_ADDRESSES),
            "asked": _list(_REQUEST),
            "proofs": _list(_PORT),
            "verdicts": _object(dict.fromkeys(map(str, Verdict), WHOLE)),
            "no_longer_planned": _list(_PROOF),
            "remarks": _list(_object({**_SAID, "port": TEXT})),
            "records": _list(_RECORD_STATE),
        },
        {"changes": _CHANGES},
    )
    return _titled(report, "netcheck report", "A report: findings, requests and proofs.")


def findings_schema() -> Shape:
    """Return the schema of `check --format json`: one object, or a list of objects for several plans."""
    one = _object(_CHECK["properties"], {"paths": _PATHS})
    of_several = {"oneOf": [_of(one, path=TEXT), _of(_UNREAD, path=TEXT)]}
    return _titled(
        {"oneOf": [one, _list(of_several)]},
        "netcheck findings",
        "The findings of a plan, or of several plans. A value is null if the plan cannot be read.",
    )


def record_schema() -> Shape:
    """Return the schema of one line of a record: each line of a record is one JSON object."""
    chain = {"n": WHOLE, "at": MOMENT, "prev": SHA256, "hash": SHA256}
    content = {
        LineKind.START: _of(_RUN),
        LineKind.EVENT: _object({"event": TEXT, "text": TEXT}, {"facts": {"type": "object"}}),
        LineKind.PROOF: _object({"proof": _PROOF, "row": TEXT}),
        LineKind.END: _object({"summary": _map(WHOLE)}),
    }
    lines = [_of(shape, **chain, type={"const": str(kind)}) for kind, shape in content.items()]
    return _titled({"oneOf": lines}, "netcheck record", "One line of a record: start, event, proof or end.")


def _titled(shape: Shape, title: str, description: str) -> Shape:
    return {"$schema": DIALECT, "title": title, "description": description, **shape}


SCHEMAS: dict[str, Callable[[], Shape]] = {
    "report": report_schema,
    "findings": findings_schema,
    "record": record_schema,
}
