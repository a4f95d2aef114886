"""Exact (Clopper-Pearson) confidence limits of a proportion.

NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.4.1: at the upper limit, the probability of the observed
count or a smaller one equals the allowed probability of error.
"""

from __future__ import annotations

from math import exp, lgamma, log, log1p

STEPS = 60  # bisections of the interval: more than the precision of a float needs


def at_most(seen: int, of: int, share: float) -> float:
    """Return the probability of at most `seen` successes in `of` trials of probability `share`."""
    if share <= 0.0 or seen >= of:
        return 1.0
    if share >= 1.0:
        return 0.0
    whole = lgamma(of + 1)
    one, other = log(share), log1p(-share)
    terms = (whole - lgamma(k + 1) - lgamma(of - k + 1) + k * one + (of - k) * other for k in range(seen + 1))
    return min(1.0, sum(map(exp, terms)))


def upper(seen: int, of: int, confidence: float = 0.95) -> float:
    """Return the one-sided upper limit. For `seen` = 0 it is 1 - (1 - confidence) ** (1 / of)."""
    if seen >= of:
        return 1.0
    low, high = seen / of, 1.0
    for _ in range(STEPS):
        middle = (low + high) / 2
        if at_most(seen, of, middle) > 1.0 - confidence:
            low = middle
        else:
            high = middle
    return high


def lower(seen: int, of: int, confidence: float = 0.95) -> float:
    """Return the one-sided lower limit."""
    return 1.0 - upper(of - seen, of, confidence) if of else 0.0


def between(seen: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return both limits of the two-sided interval; each side has half of the probability of error."""
    each = (1.0 + confidence) / 2
    return lower(seen, of, each), upper(seen, of, each)
