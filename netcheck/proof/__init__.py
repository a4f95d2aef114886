"""Proving ports: the prober without I/O, the evidence, the judge, and the loop that joins them to a link.

`prober` takes frames, carrier changes, keys and the time, and returns frames to send, the time of its next turn, and
events (`events`). `view` is what the screen needs of a run, computed whenever it is drawn. `driver` is the only loop:
it joins the prober to a link and an operator. `probing/` decides which probe is sent when and which reply belongs to
it. `port/` takes one port through its phases, as generators that the prober resumes. `walk/` does the same for many
ports at once. `verdict/` turns what was observed into a verdict: a table of rows, read from the top, of which the first
that applies decides. `settings/` finds mask and gateway by behaviour. `turns` holds which port is next,
`targets` the ports to prove and which of them a word names.

A port is proven by three phases: `in` (it answers), `out` (its cable is out and it is silent), `back` (it answers
again, at the rate of `in`). What says that the cable is out decides how long the silence must last
(`verdict/silence_rule`): the carrier of a direct cable, the operator, or the moment of a request that the device cannot
know. ARP replies carry no number; a reply belongs to the newest request, so that a late reply can only lengthen phase
`out`, never shorten it. The prober looks at once at news of the port under test, and every quarter of a second at
everything else; a frame that concerns no port causes no turn.
"""
