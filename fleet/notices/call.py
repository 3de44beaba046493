"""Calling a webhook: JSON by POST, signed, and never to where only this machine can reach.

The receiver checks ``Millrace-Signature``: ``sha256=`` and the hexadecimal HMAC-SHA256 (RFC 2104,
FIPS 180-4) of ``Millrace-Time``, a full stop and the body's bytes, keyed with the webhook's
secret. ``Millrace-Time`` is Unix seconds: calls older than some minutes should be refused, so that
nobody can repeat one. ``Millrace-Notice`` stays the same when a call is tried again.
"""

from __future__ import annotations

import hashlib
import hmac
import socket
import ssl
import time
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from typing import TYPE_CHECKING
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

if TYPE_CHECKING:
    from fleet.models import Outgoing

LIMIT_S = 10.0
READ_BYTES = 1024

_EMBEDDING = (ip_network("64:ff9b::/96"), ip_network("64:ff9b:1::/48"), ip_network("2002::/16"))
"""IPv6 that leads to an IPv4 address inside it (RFC 6052, 8215, 3056), perhaps a private one."""


class CallError(Exception):
    """A call that may not be made or was not accepted; the message says why."""


def check(address: str) -> SplitResult:
    """The parts of an address that may be called by its look. Raises CallError."""
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError as error:
        raise CallError(f"{address!r} is no address: {error}.") from error
    if parts.scheme != "https" and not (
        settings.WEBHOOKS_MAY_BE_PRIVATE and parts.scheme == "http"
    ):
        raise CallError("The address must begin with https://.")
    if not parts.hostname or parts.username or parts.password or port == 0:
        raise CallError("The address must be https://, a host, and a path, without a password.")
    return parts


def resolve(host: str, port: int) -> str:
    """One IP address of the host, every one of which may be called. Raises CallError."""
    try:
        found = {it[4][0] for it in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)}
    except (OSError, UnicodeError) as error:
        raise CallError(f"The host {host} is not known.") from error
    if not settings.WEBHOOKS_MAY_BE_PRIVATE:
        for text in found:
            if not is_public(ip_address(str(text).partition("%")[0])):
                raise CallError(f"The host {host} is at a private address.")
    return str(min(found, key=lambda it: (":" in str(it), it)))


def is_public(address: IPv4Address | IPv6Address) -> bool:
    """Whether it is a single host's address on the public internet."""
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped is not None:
            return is_public(address.ipv4_mapped)
        if any(address in network for network in _EMBEDDING):
            return False
    return address.is_global and not address.is_multicast


def sign(secret: str, sent_at: int, body: bytes) -> str:
    """The value of ``Millrace-Signature``."""
    said = f"{sent_at}.".encode() + body
    return f"sha256={hmac.new(secret.encode(), said, hashlib.sha256).hexdigest()}"


def deliver(message: Outgoing) -> None:
    """Make the call. Raises CallError: it may not be made, or the answer was not 2xx."""
    webhook = message.webhook
    if webhook is None or not webhook.active:
        raise CallError("The webhook is switched off.")
    parts, body, now = check(webhook.address), message.text.encode(), int(time.time())
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Millrace",
        "Millrace-Notice": message.key,
        "Millrace-Time": str(now),
        "Millrace-Signature": sign(webhook.secret, now, body),
    }
    path = f"{parts.path or '/'}{f'?{parts.query}' if parts.query else ''}"
    connection = _connection(parts)
    try:
        connection.request("POST", path, body, headers)
        answer = connection.getresponse()
        answer.read(READ_BYTES)
    except (OSError, HTTPException) as error:
        raise CallError(f"{parts.hostname} cannot be reached: {error}.") from error
    finally:
        connection.close()
    # A redirect is no success: it would lead round the checks above.
    if not 200 <= answer.status < 300:
        raise CallError(f"{parts.hostname} answered {answer.status}.")


def _connection(parts: SplitResult) -> HTTPConnection:
    """A connection to the very address that was checked: names may change meanwhile."""
    host = str(parts.hostname)
    secure = parts.scheme == "https"
    port = parts.port or (443 if secure else 80)
    found = resolve(host, port)
    context = ssl.create_default_context()
    made: HTTPConnection = (
        HTTPSConnection(host, port, timeout=LIMIT_S, context=context)
        if secure
        else HTTPConnection(host, port, timeout=LIMIT_S)
    )
    try:
        plain = socket.create_connection((found, port), timeout=LIMIT_S)
        made.sock = context.wrap_socket(plain, server_hostname=host) if secure else plain
    except OSError as error:
        raise CallError(f"{host} cannot be reached: {error}.") from error
    return made
