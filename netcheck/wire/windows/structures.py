"""The structures of iphlpapi.dll that netcheck reads, for ctypes.

Layouts: iptypes.h, ifdef.h, nldef.h, netioapi.h and ipexport.h of the Windows SDK, 64-bit. A sockaddr is read as 28
bytes (SOCKADDR_INET): the family in the first two, an IPv4 address in bytes 4 to 7 (ws2ipdef.h).
"""

from __future__ import annotations

from ctypes import (
    POINTER,
    Structure,
    c_byte,
    c_int,
    c_ubyte,
    c_uint8,
    c_uint16,
    c_uint32,
    c_uint64,
    c_void_p,
    c_wchar_p,
)

AF_INET = 2
LONGEST_MAC = 32


class SocketAddress(Structure):
    """SOCKET_ADDRESS."""

    _fields_ = (("sockaddr", c_void_p), ("length", c_int))


class UnicastAddress(Structure):
    """The beginning of IP_ADAPTER_UNICAST_ADDRESS_LH."""


UnicastAddress._fields_ = (
    ("length", c_uint32),
    ("flags", c_uint32),
    ("next", POINTER(UnicastAddress)),
    ("address", SocketAddress),
    ("prefix_origin", c_int),
    ("suffix_origin", c_int),
    ("dad_state", c_int),
    ("valid_lifetime", c_uint32),
    ("preferred_lifetime", c_uint32),
    ("lease_lifetime", c_uint32),
    ("prefix_length", c_uint8),
)


class AdapterAddresses(Structure):
    """The beginning of IP_ADAPTER_ADDRESSES_LH, up to the IPv4 metric."""


AdapterAddresses._fields_ = (
    ("length", c_uint32),
    ("index", c_uint32),
    ("next", POINTER(AdapterAddresses)),
    ("adapter_name", c_void_p),
    ("first_unicast", POINTER(UnicastAddress)),
    ("first_anycast", c_void_p),
    ("first_multicast", c_void_p),
    ("first_dns_server", c_void_p),
    ("dns_suffix", c_wchar_p),
    ("description", c_wchar_p),
    ("friendly_name", c_wchar_p),
    ("mac", c_ubyte * 8),
    ("mac_length", c_uint32),
    ("flags", c_uint32),
    ("mtu", c_uint32),
    ("type", c_uint32),
    ("status", c_int),
    ("index6", c_uint32),
    ("zones", c_uint32 * 16),
    ("first_prefix", c_void_p),
    ("send_speed", c_uint64),
    ("receive_speed", c_uint64),
    ("first_wins", c_void_p),
    ("first_gateway", c_void_p),
    ("metric", c_uint32),
)


class AdapterRow(Structure):
    """MIB_IF_ROW2; its counters are kept as one block."""

    _fields_ = (
        ("luid", c_uint64),
        ("index", c_uint32),
        ("guid", c_uint32 * 4),
        ("alias", c_uint16 * 257),
        ("description", c_uint16 * 257),
        ("mac_length", c_uint32),
        ("mac", c_ubyte * LONGEST_MAC),
        ("permanent_mac", c_ubyte * LONGEST_MAC),
        ("mtu", c_uint32),
        ("type", c_uint32),
        ("tunnel_type", c_int),
        ("media_type", c_int),
        ("physical_medium", c_int),
        ("access_type", c_int),
        ("direction_type", c_int),
        ("flags", c_ubyte),
        ("status", c_int),
        ("administrative_status", c_int),
        ("media_state", c_int),
        ("network_guid", c_uint32 * 4),
        ("connection_type", c_int),
        ("counters", c_uint64 * 20),
    )


class NeighbourRow(Structure):
    """MIB_IPNET_ROW2."""

    _fields_ = (
        ("address", c_ubyte * 28),
        ("index", c_uint32),
        ("luid", c_uint64),
        ("mac", c_ubyte * LONGEST_MAC),
        ("mac_length", c_uint32),
        ("state", c_int),
        ("flags", c_ubyte),
        ("reachable", c_uint32),
    )


class RouteRow(Structure):
    """MIB_IPFORWARD_ROW2."""

    _fields_ = (
        ("luid", c_uint64),
        ("index", c_uint32),
        ("destination", c_ubyte * 28),
        ("prefix_length", c_ubyte),
        ("padding", c_ubyte * 3),
        ("next_hop", c_ubyte * 28),
        ("site_prefix_length", c_ubyte),
        ("valid_lifetime", c_uint32),
        ("preferred_lifetime", c_uint32),
        ("metric", c_uint32),
        ("protocol", c_int),
        ("loopback", c_byte),
        ("autoconfigure", c_byte),
        ("publish", c_byte),
        ("immortal", c_byte),
        ("age", c_uint32),
        ("origin", c_int),
    )


class EchoReply(Structure):
    """ICMP_ECHO_REPLY."""

    _fields_ = (
        ("address", c_ubyte * 4),
        ("status", c_uint32),
        ("round_trip", c_uint32),
        ("size", c_uint16),
        ("reserved", c_uint16),
        ("data", c_void_p),
        ("ttl", c_ubyte),
        ("tos", c_ubyte),
        ("flags", c_ubyte),
        ("options_size", c_ubyte),
        ("options", c_void_p),
    )
