"""Under which address a phone can reach this computer: every one it has, the likeliest first."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from dataclasses import dataclass


@dataclass(frozen=True)
class Address:
    """An address of this computer, and why it stands where it does."""

    ip: str
    why: str
    rank: int


def candidates() -> list[Address]:
    """The IPv4 addresses of this computer other than loopback, that of the way out first."""
    out = _way_out()
    found = {out} if out else set()
    with contextlib.suppress(OSError):
        found |= {str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    ranked = [_ranked(ip, ip == out) for ip in found if not ipaddress.ip_address(ip).is_loopback]
    return sorted(ranked, key=lambda a: (a.rank, a.ip))


def _way_out() -> str | None:
    """The address from which packets would leave; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # kept for documents (RFC 5737): nobody answers there
            return str(probe.getsockname()[0])
        except OSError:
            return None


def _ranked(ip: str, out: bool) -> Address:
    address = ipaddress.ip_address(ip)
    if address in ipaddress.ip_network("192.168.0.0/16"):
        return Address(ip, "a home or shop network", 0 if out else 1)
    if address in ipaddress.ip_network("172.16.0.0/12"):
        return Address(ip, "often a network inside this computer", 5)
    if address in ipaddress.ip_network("10.0.0.0/8"):
        return Address(ip, "a company network or a tunnel", 2 if out else 4)
    if address.is_link_local:
        return Address(ip, "no router gave it", 7)
    return Address(ip, "a public or shared address", 6)
