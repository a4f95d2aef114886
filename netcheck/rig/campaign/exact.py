"""The exact (Clopper-Pearson) limits of a share: from how many of how many to what the true share may be.

NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.4.1, gives the method: the limit is the share at which what
was seen, or less, would have just the chance that is left for error.
"""

from __future__ import annotations

from math import exp, lgamma, log, log1p

STEPS = 60  # halvings of the interval: more than a float can tell apart


def at_most(seen: int, of: int, share: float) -> float:
    """The chance of `seen` or fewer among `of` where each has the chance `share`."""
    if share <= 0.0 or seen >= of:
        return 1.0
    if share >= 1.0:
        return 0.0
    whole = lgamma(of + 1)
    one, other = log(share), log1p(-share)
    terms = (whole - lgamma(k + 1) - lgamma(of - k + 1) + k * one + (of - k) * other for k in range(seen + 1))
    return min(1.0, sum(map(exp, terms)))


def upper(seen: int, of: int, confidence: float = 0.95) -> float:
    """The one-sided upper limit of the true share. With nothing seen it is 1 - (1 - confidence) ** (1 / of)."""
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
    """The one-sided lower limit of the true share."""
    return 1.0 - upper(of - seen, of, confidence) if of else 0.0


def between(seen: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Both limits of the two-sided interval: each side has half the chance of error."""
    each = (1.0 + confidence) / 2
    return lower(seen, of, each), upper(seen, of, each)
