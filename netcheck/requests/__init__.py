"""What the plan requires from the site's IT department: reservations, DNS records, pools and firewall rows.

`build` derives the requests (`model`) from a plan and its findings. `routed_conversations` finds the addresses that a
firewall sees. `zone_lines` writes DNS records that depend on no directive of the zone.
"""
