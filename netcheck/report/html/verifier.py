"""Holds the printed verifier of records: ten lines of Python's standard library.

A line's hash covers its canonical JSON without `hash`; `prev` is the hash of the line before, 64 zeros for the first.
"""

from __future__ import annotations

SNIPPET = """\
import hashlib, json, sys
seal, form = "0" * 64, {"sort_keys": True, "separators": (",", ":"), "ensure_ascii": False}
for n, raw in enumerate(open(sys.argv[1], "rb")):
    try: line = dict(json.loads(raw))
    except (ValueError, TypeError): sys.exit(f"line {n + 1} is torn, or is no line of a record")
    whole, own = json.dumps(line, **form) + "\\n", line.pop("hash", "")
    real = hashlib.sha256(json.dumps(line, **form).encode()).hexdigest()
    fits = (whole.encode(), own, line.get("n"), line.get("prev")) == (raw, real, n, seal)
    seal = own if fits else sys.exit(f"line {n + 1} does not fit")
print("intact, seal", seal)
"""
