"""A signed POST to an address that a firm chose, and nowhere else.

The name is resolved once, every address it has must be public, and the connection goes to one that was checked: a
name that means something else a moment later (DNS rebinding) leads nowhere. Redirects are not followed, proxies of
the environment are not used, and little of the answer is read.

Signature: HMAC-SHA256 (RFC 2104, FIPS 180-4) with the hook's secret over the bytes ``<timestamp>.<body>``.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import re
import socket
import ssl
import time
from dataclasses import dataclass
from typing import Final
from urllib.parse import SplitResult, urlsplit

import httpx
from django.utils.translation import gettext as _

ID, TIMESTAMP, SIGNATURE = "Resurf-Event-Id", "Resurf-Timestamp", "Resurf-Signature"
SCHEME: Final = "v1"
REPLAY_WINDOW_S: Final = 300  # receivers refuse older and younger timestamps
PATIENCE_S: Final = 10.0  # for each step
ALL_S: Final = 25.0  # for the whole answer
MOST_ANSWER: Final = 2000
PORT_LEAST: Final = 1024  # besides 443; other services listen below it
# A name with a dot whose last part is no number: no way of writing an IP address passes (RFC 1123, section 2.1).
NAME: Final = re.compile(r"(?=.{1,253}$)([a-z0-9-]{1,63}\.)+[a-z][a-z0-9-]{0,62}", re.IGNORECASE)


class HookRefused(ValueError):
    """The address may not be called; says why."""


class HookNotReached(Exception):
    """No answer came: try again."""


@dataclass(frozen=True)
class Answer:
    code: int
    text: str

    @property
    def taken(self) -> bool:
        return 200 <= self.code < 300

    @property
    def gone(self) -> bool:
        """410: the receiver wants no more of this at all (RFC 9110, section 15.5.11)."""
        return self.code == httpx.codes.GONE


def signature(secret: str, timestamp: int, body: bytes) -> str:
    """`v1=` and the hexadecimal HMAC-SHA256 of ``<timestamp>.<body>``."""
    mac = hmac.new(secret.encode(), f"{timestamp}.".encode() + body, hashlib.sha256)
    return f"{SCHEME}={mac.hexdigest()}"


def url_parts(url: str, *, anywhere: bool) -> SplitResult:
    """The parts of an address that may be called: https, a name with a dot, no login, port 443 or 1024 and above.

    *anywhere* (a setting of the installation) allows http and private addresses.

    Raises
    ------
    HookRefused
    """
    try:
        parts = urlsplit(url.strip())
        port = parts.port
    except ValueError as broken:
        raise HookRefused(_("“%(url)s” is no address: %(why)s.") % {"url": url[:80], "why": broken}) from broken
    if parts.scheme != "https" and not (anywhere and parts.scheme == "http"):
        raise HookRefused(_("The address must begin with https://; “%(url)s” does not.") % {"url": url[:80]})
    if parts.username is not None or parts.password is not None:
        raise HookRefused(_("The address must hold no login: the signature shows who calls."))
    if parts.fragment or any(ord(c) <= 32 or ord(c) == 127 for c in url.strip()):
        raise HookRefused(_("The address must hold no fragment, spaces or control characters."))
    host = parts.hostname or ""
    if not anywhere and not NAME.fullmatch(host):
        raise HookRefused(_("“%(host)s” is no public name; allowed is a name such as hooks.firm.example.") % {
            "host": host[:80]})  # fmt: skip
    if not anywhere and port is not None and port != 443 and port < PORT_LEAST:
        raise HookRefused(_("Port %(port)d; allowed are 443 and 1024 to 65535.") % {"port": port})
    return parts


def public(address: str) -> bool:
    """Whether an IP address is public; what an IPv6 address carries inside (mapped, 6to4, Teredo, NAT64) counts too."""
    found = ipaddress.ip_address(address.partition("%")[0])
    inner: list[ipaddress.IPv4Address] = []
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return public(str(found.ipv4_mapped))
        inner += [part for part in (found.sixtofour, *(found.teredo or ())) if part is not None]
        if found in NAT64:
            inner.append(ipaddress.IPv4Address(int(found) & 0xFFFFFFFF))
    return found.is_global and not found.is_multicast and all(public(str(part)) for part in inner)


NAT64: Final = ipaddress.IPv6Network("64:ff9b::/96")


def checked_address(host: str, port: int, *, anywhere: bool) -> str:
    """One IP address of the name, all of which are public.

    Raises
    ------
    HookRefused
        When one of them is private.
    HookNotReached
        When the name has no address.
    """
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as unknown:
        raise HookNotReached(f"{host} has no address: {unknown}") from unknown
    addresses = [str(row[4][0]) for row in found]
    private = [address for address in addresses if not anywhere and not public(address)]
    if private:
        raise HookRefused(_("%(host)s leads to %(address)s, which is not public.") % {
            "host": host, "address": private[0]})  # fmt: skip
    return addresses[0]


def call(
    url: str,
    *,
    secret: str,
    event_id: str,
    body: bytes,
    now: int,
    anywhere: bool,
    trust: ssl.SSLContext | None = None,
) -> Answer:
    """POST *body* with its signature; the answer's code and first characters.

    The certificate must be of the name in the address, though the connection goes to a number; *trust* stands in for
    the usual authorities.

    Raises
    ------
    HookRefused, HookNotReached
    """
    parts = url_parts(url, anywhere=anywhere)
    host, port = parts.hostname or "", parts.port or (443 if parts.scheme == "https" else 80)
    address = checked_address(host, port, anywhere=anywhere)
    literal = f"[{address}]" if ":" in address else address
    target = parts._replace(netloc=f"{literal}:{port}", scheme=parts.scheme).geturl()
    headers = {
        "Host": parts.netloc.rpartition("@")[2],
        "Content-Type": "application/json",
        "User-Agent": "resurf",
        ID: event_id,
        TIMESTAMP: str(now),
        SIGNATURE: signature(secret, now, body),
    }
    began = time.monotonic()
    try:
        with (
            httpx.Client(timeout=PATIENCE_S, trust_env=False, follow_redirects=False, verify=trust or True) as client,
            client.stream("POST", target, content=body, headers=headers, extensions={"sni_hostname": host}) as answer,
        ):
            return Answer(answer.status_code, _beginning(answer, began))
    except (httpx.HTTPError, httpx.InvalidURL, OSError) as error:
        raise HookNotReached(f"{type(error).__name__}: {error}") from error


def _beginning(answer: httpx.Response, began: float) -> str:
    read = b""
    for part in answer.iter_raw(chunk_size=512):
        read += part
        if len(read) >= MOST_ANSWER or time.monotonic() - began > ALL_S:
            break
    return "".join(c if c.isprintable() else " " for c in read[:MOST_ANSWER].decode("utf-8", "replace")).strip()
