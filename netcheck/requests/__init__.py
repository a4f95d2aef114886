"""The requests to the site's IT department: reservations, DNS records, pools, firewall rows and switch ports.

`build` derives the requests (`model`) from a plan and its findings, and writes DNS records as zone lines.
`routed_conversations` finds the addresses that a firewall sees.
"""
