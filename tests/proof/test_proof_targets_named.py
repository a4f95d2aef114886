"""Tests of the words that name ports: values of `--only`, and the text by which the operator chooses the next port."""

from __future__ import annotations

import pytest

from netcheck.addr import Address
from netcheck.errors import UsageError
from netcheck.proof.targets import Target, chosen, named, typed


def target(name: str, address: str, place: str, switch_port: str, subnet: str = "process", port: str = "1") -> Target:
    """Return a port of the interface `NAME/lan`."""
    return Target(
        interface=f"{name}/lan",
        port=port,
        device=name,
        address=Address.from_text(address).value if address else 0,
        address_text=address,
        subnet=subnet,
        place=place,
        switch_port=switch_port,
        barred="" if address else "it has no address in the plan",
    )


PORTS = (
    target("press-1", "192.0.2.20", "panel 1", "sw-1/1"),
    target("press-1", "192.0.2.20", "panel 1", "sw-1/2", port="2"),
    target("drive-01", "192.0.2.21", "panel 2", "sw-1/3"),
    target("drive-02", "192.0.2.22", "Panel 2", "sw-10/1"),
    target("panel 2", "198.51.100.7", "hall", "SW 3 Gi1/0/4", "packing"),
    target("scale", "", "hall", ""),
    target("Scale", "198.51.100.8", "hall", "", "packing"),
)


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("press-1/lan:2", [1]),
        ("press-1/lan", [0, 1]),
        ("press-1", [0, 1]),
        ("PRESS-1", [0, 1]),
        ("packing", [4, 6]),
        ("panel 1", [0, 1]),
        ("panel 2", [4]),  # a device before a place
        ("hall", [4, 5, 6]),
        ("sw-1", [0, 1, 2]),  # not sw-10
        ("sw-1/3", [2]),
        ("sw 3", [4]),
        ("sw 3 gi1/0/4", [4]),
        ("scale", [5]),  # an exact match comes before one with other capitals
        ("Scale", [6]),
        ("SCALE", [5, 6]),
        ("192.0.2.21", [2]),
        ("192.0.2.21-192.0.2.30", [2, 3]),
        ("192.0.2.0/24", [0, 1, 2, 3]),
        ("0.0.0.0", []),  # a port without an address has none
        ("192.0.2", []),
        ("", []),
        (" ", []),
        ("press", []),
    ],
)
def test_a_word_names_ports(word: str, expected: list[int]) -> None:
    """A word names the ports of the first kind of name that it matches; addresses come last."""
    assert [PORTS.index(port) for port in named(word, PORTS)] == expected


def test_the_order_of_the_words_is_kept() -> None:
    """Ports come in the order of the words, each once; those of one word in the order of the plan."""
    found = chosen(["drive-02", "192.0.2.20-192.0.2.22", "press-1/lan:1"], PORTS)
    assert [PORTS.index(port) for port in found] == [3, 0, 1, 2]
    assert chosen([], PORTS) == PORTS


@pytest.mark.parametrize(
    ("word", "near"),
    [
        ("drive-1", "drive-01"),
        ("pres-1/lan:2", "press-1/lan:2"),
        ("panel 3", "panel 1"),
        ("drive", "drive-01"),
        ("192.0.2.23", "192.0.2.22"),
        ("10.0.0.0/8", "192.0.2.20"),
        ("zzz", "Scale/lan"),  # no similar name: some interfaces are listed
    ],
)
def test_an_unknown_word_is_refused_with_the_nearest_names(word: str, near: str) -> None:
    """The message names the word and the nearest names; the exit code is 2."""
    with pytest.raises(UsageError) as refused:
        chosen(["press-1", word], PORTS)
    assert refused.value.exit_code == 2
    (problem,) = refused.value.problems
    assert word in problem.what
    assert near in problem.do


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("3", [2]), (" 1 ", [0]), ("0", []), ("8", []), ("99999999999", []), ("\u0663", []),
        ("driv", [2, 3]), ("-02", [3]), ("2.22", [3]), ("PANEL 2", [4]), ("", []), ("xyz", []),
    ],
)  # fmt: skip
def test_an_operator_may_type_a_number_or_a_part_of_a_name(text: str, expected: list[int]) -> None:
    """A number counts the ports from 1. A part of a name or an address names all ports that contain it."""
    assert [PORTS.index(port) for port in typed(text, PORTS)] == expected
