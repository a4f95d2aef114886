"""Arithmetic on address space: who uses which address, which are free, and which to propose.

`intervals` has sets of addresses as sorted ranges; `usable` says which addresses a host may have; `addressing` finds
the subnet of an address; `occupancy` says what uses each address of an island, and `address_list` lists it; `vacant`
has what is left, and `suggest` chooses from it by the ranges of `scheme`; `carve` cuts a block into subnets;
`map_cells` sorts a subnet into the cells of a map; `coverage` says how far surveys cover a subnet. Everything is pure,
works on integers, and is O(n log n) to build."""
