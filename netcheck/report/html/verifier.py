"""Holds the printed verifier of records: ten lines of Python's standard library.

A line's hash covers its canonical JSON without `hash`; `prev` is the hash of the line before, 64 zeros for the first.
"""

from __future__ import annotations

SNIPPET = """\
import hashlib, json, sys
seal, n, form = "0" * 64, 0, {"sort_keys": True, "separators": (",", ":"), "ensure_ascii": False}
try:
    for n, raw in enumerate(open(sys.argv[1], "rb"), 1):
        line = dict(json.loads(raw))
        seen = json.dumps(line, **form).encode() + b"\\n", line.pop("hash"), line["n"], line["prev"]
        real = hashlib.sha256(json.dumps(line, **form).encode()).hexdigest()
        seal = real if seen == (raw, real, n - 1, seal) else sys.exit(f"line {n} does not fit")
    print("intact, seal", seal) if n else sys.exit("the file is empty: it is no record")
except Exception as error: sys.exit(f"line {n} is torn, or is no line of a record ({error!r})")
"""
