"""Numbers of the pcapng format that its reader and its writer share: draft-ietf-opsawg-pcapng."""

from __future__ import annotations

# Block types: sections 4.1 to 4.5 and appendix A of the draft.
SECTION, INTERFACE, OBSOLETE_PACKET, SIMPLE_PACKET, ENHANCED_PACKET = 0x0A0D0D0A, 1, 2, 3, 6
BYTE_ORDER = 0x1A2B3C4D  # the magic number of a section, written in the byte order of the section
ETHERNET = 1  # link type: draft-ietf-opsawg-pcaplinktype

END, COMMENT = 0, 1  # options of every block
APPLICATION = 4  # option of a section
NAME, IPV4, MAC, RESOLUTION, OFFSET = 2, 4, 6, 9, 14  # options of an interface
FLAGS, INBOUND, OUTBOUND = 2, 1, 2  # option of an enhanced packet, and the two directions
