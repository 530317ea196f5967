"""Where a request comes from, as far as that can be known."""

from ipaddress import IPv6Address, IPv6Network, ip_address

from django.conf import settings
from django.http import HttpRequest

LONGEST = 64


def address_of(request: HttpRequest) -> str:
    """The client's address: what the last trusted proxy saw (`CLUBDATA_PROXIES`), else who is connected.

    Of `X-Forwarded-For` only what our own proxies wrote is believed: the rest is the client's word.
    An IPv6 address is told by its network of 64 bits, which is what one household is given.
    """
    proxies = settings.TRUSTED_PROXIES
    forwarded = [
        one.strip() for one in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if one.strip()
    ]
    if proxies and len(forwarded) >= proxies:
        return _network_of(forwarded[-proxies])
    return _network_of(str(request.META.get("REMOTE_ADDR", "")))


def _network_of(said: str) -> str:
    try:
        address = ip_address(_without_port(said))
    except ValueError:
        return said[:LONGEST]
    if not isinstance(address, IPv6Address):
        return str(address)
    if address.ipv4_mapped is not None:
        return str(address.ipv4_mapped)
    return str(IPv6Network((int(address), 64), strict=False))


def _without_port(said: str) -> str:
    """Some proxies write the port too, which is another at every connection."""
    if said.startswith("["):
        return said[1:].partition("]")[0]
    return said.partition(":")[0] if said.count(":") == 1 else said
