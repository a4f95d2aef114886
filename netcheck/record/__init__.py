"""The append-only record of a proving run: written line by line, taken up again, verified.

`chain.py` has a line's canonical bytes and its hash, and reads a stream of lines up to the first fault. `write.py`
appends a line and synchronises it with the disk before the next step of the run; its only state is the file. `model.py`
is the content as one frozen value: every attempt at a port is kept, and the latest with a definite verdict counts.
`verify.py` judges the chain. `attachment.py` hashes files that belong to a record, and compares them.
"""
