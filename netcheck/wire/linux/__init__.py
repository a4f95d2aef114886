"""Interfaces that only Linux offers: rtnetlink, carrier events, packet sockets and the classic BPF filter."""
