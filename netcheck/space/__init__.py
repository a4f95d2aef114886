"""Arithmetic on address space: who uses which address, which are free, and which to propose.

`intervals` has sets of addresses as sorted ranges; `usable` says which addresses a host may have; `addressing` finds
the subnet of an address, and the range that the plan's numbering scheme gives an interface; `occupancy` says what uses
each address of an island; `vacant` has the addresses that are left, and `suggest` chooses from them; `carve` cuts a
block into subnets; `map_cells` sorts a subnet into the cells of a map, and lists its addresses in use; `coverage` says
how far surveys cover a subnet. Everything is pure, works on integers, and is O(n log n) to build."""
