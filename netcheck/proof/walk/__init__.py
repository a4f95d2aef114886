"""The walk: all addresses are watched at once, and cables are pulled in any order.

`track` is what is known of one address and how often it is asked; `walk` decides what each silence means; `requests`
are the pulls that the walk itself asks for.
"""
