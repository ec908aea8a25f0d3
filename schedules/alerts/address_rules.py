"""Which addresses are out on the internet, and which lie inside a network: this machine, an office's own, a cloud's."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv6Network, ip_address

UNICAST = IPv6Network("2000::/3")  # RFC 4291: all that is given out for the internet; 6to4 within it leads back to IPv4


def is_on_the_internet(address: str) -> bool:
    """Whether an IPv4 or IPv6 address, as the resolver writes it, may be reached from anywhere (the registries of
    special addresses, IANA, as Python's ``ipaddress`` keeps them)."""
    it = ip_address(address)
    if isinstance(it, IPv4Address):
        return it.is_global and not it.is_multicast
    return it.is_global and it in UNICAST and it.sixtofour is None
