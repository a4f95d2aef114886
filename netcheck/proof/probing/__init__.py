"""Which probe is sent when, and which answer belongs to it.

`scheduler` turns rates into frames within the pace, `reply_matcher` reads hostile frames and finds the probe that each
answers, `address_state` keeps the probes and answers of one address, `station_address` borrows the address to ask from.
"""
