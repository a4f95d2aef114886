"""Compares host names: without case, and with the plan's domain for names that have none.

A name that contains a dot is fully qualified (RFC 1034 section 3.1 leaves completion to the user's software).
"""

from __future__ import annotations

from netcheck.survey.host_table import folded


def full_name(name: str, domain: str) -> str:
    """Return a name as it is compared; a name without a dot is completed with the domain, if there is one."""
    plain = folded(name)
    return f"{plain}.{folded(domain)}" if plain and domain and "." not in plain else plain


def spellings(name: str, domain: str) -> tuple[str, ...]:
    """Return the spellings (as compared) under which a list may have a planned name: bare and fully qualified."""
    plain, full = folded(name), full_name(name, domain)
    suffix = f".{folded(domain)}"
    bare = full.removesuffix(suffix) if domain else full
    return tuple(dict.fromkeys((plain, full, bare) if "." not in bare else (plain, full)))


def may_be_same(planned: str, listed: str, domain: str) -> bool:
    """Return whether a listed name can be the planned one; without a domain the first labels decide if one is bare."""
    one, two = full_name(planned, domain), full_name(listed, domain)
    if one == two or domain or not one or not two:
        return bool(one) and one == two
    bare = "." not in one or "." not in two
    return bare and one.partition(".")[0] == two.partition(".")[0]
