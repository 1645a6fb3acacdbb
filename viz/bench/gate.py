"""Who may come in: the page's own origin, a name that this server goes by, and a token."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from urllib.parse import urlsplit

LOOPBACK = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True, slots=True)
class Gate:
    """What is asked of a request.

    ``host``: the address that is listened on. On loopback only loopback names are answered, so
    that no foreign name can be pointed at this machine (DNS rebinding). ``token`` is asked for
    beyond loopback.
    """

    host: str = "127.0.0.1"
    token: str = ""

    @property
    def beyond_loopback(self) -> bool:
        """Whether other machines can reach this one."""
        return self.host not in LOOPBACK

    def host_allowed(self, host: str | None) -> bool:
        """Whether a Host header is one of ours."""
        return self.beyond_loopback or _name(f"http://{host or ''}") in LOOPBACK

    def origin_allowed(self, origin: str | None, host: str | None) -> bool:
        """Whether a WebSocket may be opened: a page of another origin must not.

        Programs that are no browser send no Origin; they could forge one as well.
        """
        if not self.host_allowed(host):
            return False
        return origin is None or urlsplit(origin).netloc == (host or "")

    def token_right(self, given: object) -> bool:
        """Whether the token is right, where one is asked for."""
        return not self.token or (isinstance(given, str) and same(given, self.token))


def same(given: str, wanted: str) -> bool:
    """Compared in a time that tells nothing about the difference."""
    return secrets.compare_digest(given.encode(), wanted.encode())


def _name(url: str) -> str | None:
    try:
        return urlsplit(url).hostname
    except ValueError:
        return None
