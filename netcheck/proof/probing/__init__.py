"""When each probe is sent, and which probe an answer belongs to.

`scheduler` turns rates into frames within the pace. `reply_matcher` reads hostile frames and finds the probe that each
frame answers. `address_state` keeps the probes and answers of one address. `station_address` chooses the address that
probes are sent from, and borrows one if this computer has none.
"""
