"""Makes the files of a new plan: a small plant without conflicts, with comments that explain what to replace."""

from __future__ import annotations

import json
from datetime import date

from netcheck.plan.read import PLAN_FILE
from netcheck.text import safe

HOSTS_FILE = "site-hosts.csv"
TITLES = ("address", "mac", "name", "note", "seen")
PREFIX = "192.168.10.0/24"

_PLAN = """# The plan of one site's controls network. Replace the example values with your own, then run
#     netcheck check {folder}
# `netcheck rules` lists what is looked at; the schema for editors is printed by `netcheck schema`.

format = 1
# interfaces = "interfaces.csv"    # many devices are easier kept as a table: one row an interface, with the columns
                                   # device, kind, place, interface, slot, subnet, address, mask, gateway, mac,
                                   # host-name, switch-port, ports

[site]
name = {name}
revision = "A"
keep-clear = 2                     # how many addresses to stay away from anything that is already there
survey-max-age = 30                # days after which a list of the site's hosts is too old

# A subnet as the site's IT has given it.
[[subnet]]
name = "process"
prefix = "{prefix}"
gateway = "192.168.10.1"
# vlan = 10
pools = ["192.168.10.200-192.168.10.239"]     # handed out by DHCP: nothing may be planned there
reserved = ["192.168.10.2-192.168.10.19"]     # kept by IT for itself

# A device, and below it each of its interfaces. A subject is written device/interface: example-plc/cpu.
[[device]]
name = "example-plc"
kind = "controller"                # controller, operator panel, drive, remote I/O, switch, server
place = "panel 1"
  [[device.interface]]
  name = "cpu"
  # slot = 1
  subnet = "process"
  address = "192.168.10.50"        # leave the line out, and `netcheck suggest` finds a free one
  mask = "255.255.255.0"           # mask and gateway as they are typed into the device
  gateway = "192.168.10.1"
  # mac = "00-00-5E-00-53-01"      # from the nameplate
  host-name = "example-plc"
  # switch-port = "sw-1/7"
  # ports = ["1", "2"]             # every connector is proved by itself
  # behind = "other-plc/cpu:2"     # in a daisy chain: the port that this one hangs behind

[[device]]
name = "example-panel"
kind = "operator panel"
place = "panel 1"
  [[device.interface]]
  name = "lan"
  subnet = "process"
  address = "192.168.10.51"
  mask = "255.255.255.0"
  gateway = "192.168.10.1"
  host-name = "example-panel"

# Interfaces that must be able to communicate, in both directions.
[[conversation]]
from = "example-panel/lan"
to = "example-plc/cpu"
why = "operator screens"

# A router between subnets, if conversations cross it.
# [[router]]
# name = "site-router"
# interfaces = ["192.168.10.1/24", "192.168.20.1/24"]
# routes = [{{ to = "0.0.0.0/0", via = "192.168.20.254" }}]

# The computer that will prove the ports, with an address that IT allows it.
[[station]]
name = "service laptop"
address = "192.168.10.240/24"

# What is already there: ask the site's IT for its list, and say when it was made and which prefixes it covers.
[[survey]]
file = "{hosts}"
taken = {today}
covers = ["{prefix}"]

# A finding that the site has agreed to live with.
# [[accepted]]
# rule = "too-near"
# subject = "example-plc/cpu"
# by = "site IT"
# because = "the neighbour is taken out of use in week 50"
# until = {year}-12-31
"""


def plan_files(folder: str, today: date) -> dict[str, str]:
    """Return the files of a plan folder by name; the plan itself is the last."""
    rows = (TITLES, ("192.168.10.1", "", "site-router", "example: replace this list by the site's own", str(today)))
    hosts = "".join(",".join(row) + "\n" for row in rows)
    plan = _PLAN.format(
        folder=safe(folder),
        name=json.dumps(safe(folder), ensure_ascii=False),  # safe leaves nothing that TOML would write otherwise
        prefix=PREFIX,
        hosts=HOSTS_FILE,
        today=today,
        year=today.year,
    )
    return {HOSTS_FILE: hosts, PLAN_FILE: plan}
