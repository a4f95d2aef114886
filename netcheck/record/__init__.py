"""The append-only record of a proving run: it is written line by line, can be continued, and can be verified.

`chain.py` builds a line's canonical bytes and its hash, and reads lines up to the first invalid one. `write.py` appends
a line and synchronises it with the disk before the next step of the run; its only state is the file. `model.py` holds
the content as one frozen value: it keeps every attempt at a port, and the latest attempt with a definite verdict
counts. `verify.py` checks the chain, and `evidence.py` judges the recorded counts again. `attachment.py` hashes files
that belong to a record, and compares them.
"""
