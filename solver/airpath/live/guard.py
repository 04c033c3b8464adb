"""Who may talk to the page's server: this machine, by the address with the token, from the page itself."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field

ADDRESS = "127.0.0.1"
_NAMES = (ADDRESS, "localhost")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
    "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True, kw_only=True)
class Guard:
    """Knows the server's ``port`` and the ``token`` that an address must hold."""

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://{ADDRESS}:{self.port}/{self.token}/"

    def knows_host(self, host: str | None) -> bool:
        """Whether a request was meant for this server: another name that leads here is refused (DNS rebinding)."""
        return host in {f"{name}:{self.port}" for name in _NAMES}

    def knows_origin(self, origin: str | None) -> bool:
        """Whether what asks to change something is the page itself, not another page in the same browser."""
        return origin in {f"http://{name}:{self.port}" for name in _NAMES}

    def knows_token(self, token: str) -> bool:
        """Whether the address holds the token; takes the same time whatever is wrong with it."""
        return secrets.compare_digest(token.encode(), self.token.encode())
