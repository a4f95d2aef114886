"""Arithmetic on address space: who uses which address, which are free, and which to propose.

- `intervals`: sets of addresses as sorted ranges
- `usable`: which addresses a host may have
- `addressing`: the subnet of an address, and the range that the plan's numbering scheme gives an interface
- `occupancy`: the users of each address of an island
- `vacant`: the free addresses of a subnet
- `suggest`: the free address that each interface should get
- `carve`: cuts a block into subnets
- `map_cells`: the cells of a subnet's map, and the list of its addresses in use
- `coverage`: which parts of a subnet the surveys cover

All functions are pure and work on integers. Building takes O(n log n).
"""
