"""Proving ports: the prober without I/O, the evidence, the judge, and the loop that joins them to a link.

| module | what it does |
|---|---|
| `prober` | takes frames, carrier changes, keys and the time; returns frames, events and the time of its next turn |
| `events` | the events, keys and options of a run |
| `driver` | the only loop: joins the prober to a link and an operator |
| `view` | what the screen shows of a run, computed each time the screen is drawn |
| `probing/` | decides when each probe is sent, and which probe a reply belongs to |
| `port/` | takes one port through its phases; a phase is a generator that the prober resumes |
| `walk/` | takes many ports through their phases at once |
| `verdict/` | turns an observation into a verdict: the first row of a table that applies decides |
| `settings/` | finds the mask and the gateway of a device by its behaviour |
| `port_order` | the order of the ports |
| `targets` | the ports to prove, and the search for a port by name |

A port is proven in three phases: `in` (it answers), `out` (its cable is out and it is silent), `back` (it answers
again, at the rate of phase `in`). Three things can confirm that the cable is out: the carrier of a direct cable, the
operator, or a request at a moment that the device cannot know. This confirmation decides how long the silence must last
(`verdict/silence_rule`).

ARP replies carry no number. A reply is matched with the newest request, so a late reply can lengthen phase `out` but
never shorten it. The prober resumes the phases every 0.05 s while there is news of the port under test, else every
0.25 s. A frame that does not concern that port causes no earlier step.
"""
