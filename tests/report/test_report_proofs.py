"""Tests of proofs as JSON, key by key, and as lines for a terminal."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from netcheck.addr import mac_text
from netcheck.proof.result import Other, Phase, PhaseResult, Proof, Rtt, Tally, Verdict
from netcheck.report.text.proofs import INDENT, counted, summary, to_json, to_lines, without_figures
from tests.report.made import a_stranger, every_verdict

FULL = Proof(
    interface="pasteuriser-plc/cpu", port="1", address="10.62.20.61", verdict=Verdict.IMPOSTOR,
    why="With the cable out somebody else answers.",
    mac=0x00005E005321, vendor=None, echo="answered", cable="operator", connector="operator", identity="planned",
    luck=4.1e-5, unheard=1.5e-5, others=(a_stranger(0x90, "10.62.20.61", "out", "site host camera-7"),),
    phases=(
        (Phase.IN, PhaseResult(Tally(8, 8), Tally(30, 30), 8.0, Rtt(0.1, 0.2, 0.4))),
        (Phase.OUT, PhaseResult(Tally(5, 0), Tally(19, 0), 5.1)),
    ),
    notes=("a note",), evidence=(("mask", "255.255.255.0"),),
)  # fmt: skip
BARE = Proof(
    interface="d/lan",
    port="1",
    address="2001:db8::1",
    verdict=Verdict.NOT_TESTED,
    why="Not tested: IPv6 is not probed.",
)


def test_json_is_the_shape_of_the_contract() -> None:
    """Each key of a proof has its value; an unknown value is null, and a phase that was not run is {}."""
    assert to_json([FULL], "run.jsonl", "ab" * 32) == {
        "proofs": [
            {
                "interface": "pasteuriser-plc/cpu", "port": "1", "address": "10.62.20.61", "verdict": "impostor",
                "why": "With the cable out somebody else answers.", "mac": "00-00-5E-00-53-21", "vendor": None,
                "echo": "answered", "cable": "operator", "connector": "operator", "identity": "planned",
                "luck": 4.1e-5, "unheard": 1.5e-5,
                "others": [
                    {"mac": "00-00-5E-00-53-90", "address": "10.62.20.61", "phase": "out",
                     "known_as": "site host camera-7"}
                ],
                "phases": {
                    "in": {"arp": [8, 8], "echo": [30, 30], "seconds": 8.0,
                           "rtt_ms": {"min": 0.1, "median": 0.2, "max": 0.4}},
                    "out": {"arp": [5, 0], "echo": [19, 0], "seconds": 5.1, "rtt_ms": None},
                    "back": {},
                },
                "notes": ["a note"], "evidence": {"mask": "255.255.255.0"},
            }
        ],
        "summary": {"proven": 0, **dict.fromkeys(map(str, Verdict), 0), "impostor": 1},
        "record": "run.jsonl",
        "seal": "ab" * 32,
    }  # fmt: skip


def test_json_of_a_port_that_was_not_tested() -> None:
    """A port that was not tested has the same keys, with empty values."""
    full, bare = to_json([FULL, BARE], "", "")["proofs"]
    assert set(bare) == set(full)
    empty = {key for key, value in bare.items() if value is None}
    assert empty == {"mac", "vendor", "echo", "cable", "connector", "identity", "luck", "unheard"}
    assert (bare["others"], bare["phases"], bare["address"]) == ([], {"in": {}, "out": {}, "back": {}}, "2001:db8::1")


@pytest.mark.parametrize("proof", [FULL, BARE, *every_verdict()], ids=lambda proof: f"{proof.subject} {proof.verdict}")
def test_json_round_trip(proof: Proof) -> None:
    """A proof that is written to text and read back is unchanged."""
    assert Proof.from_json(json.loads(json.dumps(proof.to_json()))) == proof


def test_summary_counts_all_with_proven_first() -> None:
    """The JSON counts every verdict, also zeros; the sentence names the verdicts that occur."""
    proofs = every_verdict()
    counts = summary(proofs)
    assert next(iter(counts)) == "proven"
    assert set(counts) == {str(verdict) for verdict in Verdict}
    assert sum(counts.values()) == len(proofs)
    assert counts["proven"] == 2
    assert counted(proofs).startswith("2 proven, 1 silent, 1 contested")
    assert " 0 " not in f" {counted(proofs)}"
    assert counted([]) == "nothing to do"


@pytest.mark.parametrize("width", [60, 70, 100, 200])
def test_lines_wrap(width: int) -> None:
    """Each port is a block: verdict, subject, address and MAC, then indented sentences within the width."""
    sentence = "A sentence that says at some length what was seen and heard. " * 6
    long = Proof(
        interface="device/interface",
        port="1",
        address="192.0.2.20",
        verdict=Verdict.UNSETTLED,
        why=sentence,
        mac=0x00005E005314,
        notes=(sentence,),
    )
    lines = to_lines([long, BARE], width)
    head = "unsettled device/interface:1 192.0.2.20 00-00-5E-00-53-14"
    assert " ".join(" ".join(lines[:2]).split()).startswith(head)
    assert max(map(len, lines)) <= width
    below = [line for line in lines if line.startswith(INDENT)]
    assert " ".join(line.strip() for line in below).count("A sentence that says at some length") == 12
    assert lines.index("not-tested       d/lan:1  2001:db8::1") == len(lines) - 2


def test_the_evidence_for_the_cable_is_shown() -> None:
    """Every verdict with evidence for the cable shows it, such as `cable: inferred`."""
    proofs = every_verdict()
    text = "\n".join(to_lines(proofs, 200))
    assert text.count("cable: inferred") == sum(proof.cable == "inferred" for proof in proofs) == 1
    assert "cable: inferred from the silence; connector: " in text
    assert "cable: confirmed by a key; connector: confirmed by a key; MAC: as planned" in text
    assert not re.search(r"\de-\d\d", text)  # only the reports show probabilities, and explain them
    assert "control: 10.62.20.1 answered to the end" in text


def test_received_names_are_shown_with_escapes() -> None:
    """Received names are shown with escapes, on one line."""
    bad = "x\x1b[2J\n\u202e"
    other = Other(1, 2, "out", bad)
    proof = Proof(
        interface=f"{bad}/lan",
        port=bad,
        address=bad,
        verdict=Verdict.IMPOSTOR,
        why=bad,
        others=(other,),
        notes=(bad,),
        evidence=((bad, bad),),
    )
    text = "\n".join(to_lines([proof]))
    assert not set(text) & {"\x1b", "\u202e"}
    assert "\\x1b[2J\\x0a\\u202e" in text


SOUND = Proof(
    interface="plc-1/cpu", port="1", address="192.0.2.1", verdict=Verdict.PROVEN,
    why="it answered, fell silent and answered again", mac=0x00005E005301, cable="operator", luck=4.1e-5,
    phases=((Phase.IN, PhaseResult(Tally(8, 8), Tally(30, 30), 8.0)),),
)  # fmt: skip


def test_json_of_proofs_holds_every_verdict_and_the_seal() -> None:
    """The JSON has the keys of the contract, and a verdict that does not occur counts zero."""
    shape = to_json([SOUND], "run.jsonl", "ab" * 32)
    assert set(shape) == {"proofs", "summary", "record", "seal"}
    assert set(shape["summary"]) == {str(verdict) for verdict in Verdict}
    assert (shape["summary"]["proven"], shape["summary"]["silent"]) == (1, 0)
    assert shape["proofs"][0]["phases"]["in"]["arp"] == [8, 8]
    assert shape["proofs"][0]["phases"]["out"] == {}
    assert summary([])["proven"] == 0


def test_proofs_as_lines_have_the_evidence_for_the_cable() -> None:
    """The line with the figures has the evidence for the cable, and long sentences are wrapped."""
    lines = to_lines([SOUND], 70)
    assert lines[0].startswith("proven")
    assert any("cable: confirmed by a key" in line for line in lines[:3])
    assert max(map(len, lines)) <= 70


def test_the_probabilities_of_a_sentence_are_only_in_the_reports() -> None:
    """The terminal shows a sentence about luck without its probabilities; the record has them."""
    why = (
        "The silence could be luck: 3.0e-03, above 1.0e-04. "
        "A second owner may have gone unheard: not known, above 1.0e-03."
    )
    assert without_figures(why) == "The silence could be luck. A second owner may have gone unheard."
    other = "Nothing answered for 10.62.20.61: 00-00-5E-00-53-21 was heard from 10.62.20.99."
    assert without_figures(other) == other


def test_notes_with_figures_are_only_in_the_reports() -> None:
    """The listing has the notes without figures, and repeats none; the JSON has all notes."""
    notes = (
        "luck: 1.1e-03 by ARP, 2.9e-08 by echo; the operator confirmed both movements, so that echo counts",
        "cable: inferred from the silence after the request; the operator confirmed the return",
        "echo: blocked; it answers ARP alone",
        "the first answer came after 31 s",
    )
    proof = replace(SOUND, notes=notes, cable="inferred", echo="blocked")
    said = [line.strip() for line in to_lines([proof], 200)[1:]]
    assert said == [
        "it answered, fell silent and answered again",
        "cable: inferred from the silence after the request, the operator confirmed the return; echo is blocked",
        "note: the first answer came after 31 s",
    ]
    assert to_json([proof], "", "")["proofs"][0]["notes"] == list(notes)


def test_a_narrow_terminal_splits_no_name_and_no_mac() -> None:
    """In a narrow terminal lines end between words: no MAC and no name with hyphens is cut."""
    text = "\n".join(to_lines(every_verdict(), 60))
    assert max(map(len, text.splitlines())) <= 60
    for proof in every_verdict():
        assert proof.subject in text
        assert proof.mac is None or mac_text(proof.mac) in text


@pytest.mark.parametrize("simulated", [False, True])
def test_the_ports_are_in_one_column(simulated: bool) -> None:
    """The name of the port begins in the same column after every verdict, also after the mark of a simulated run."""
    proofs = [replace(FULL, verdict=verdict) for verdict in Verdict]
    heads = [line for line in to_lines(proofs, 140, simulated=simulated) if FULL.subject in line and line[0] != " "]
    assert len(heads) == len(Verdict)
    assert len({line.index(FULL.subject) for line in heads}) == 1
