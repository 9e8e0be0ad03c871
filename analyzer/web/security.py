"""Who may talk to the local page: this machine's own browser, and only the tab that was given the token.

A page on the web can make a browser send requests to this machine, even under a name of its own that suddenly means
this machine. Four things keep it out: the Host header must name the loopback address, a foreign Origin is refused,
every call needs a token in a header that no other page can set, and no answer ever allows another origin to read it.
"""

import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

TOKEN_HEADER = "x-lowbrass-token"
MAX_UPLOAD_BYTES = 32 * 2**20
"""Most that one request may bring; what `score.document` accepts as plain XML."""
MAX_QUESTION_BYTES = 2**20
"""Most that a question about an open score may have: settings and pins."""

POLICY = "; ".join((
    "default-src 'none'", "script-src 'self'", "style-src 'self'", "img-src 'self'", "font-src data:",
    "connect-src 'self'", "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'",
))
HEADERS = (
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-embedder-policy", "require-corp"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=(), usb=(), serial=(), midi=(), payment=()"),
    ("cache-control", "no-store"),
)


class RefusedError(Exception):
    """A request is refused with one line, for a reason that no file or question mends: size, time, too many at once."""

    def __init__(self, status: int, text: str) -> None:
        super().__init__(text)
        self.status = status


def new_token() -> str:
    """Return a token that cannot be guessed."""
    return secrets.token_urlsafe(24)


class Guard:
    """Lets a request through to `app`, or answers it at once with one clear line; hardens every answer.

    Parameters
    ----------
    app
        The application behind.
    token : str
        What every path under ``/api/`` must bring in `TOKEN_HEADER`.
    hosts : iterable of str
        Values of the Host header that are ours, such as ``127.0.0.1:8765``.
    """

    def __init__(self, app: App, *, token: str, hosts: Iterable[str]) -> None:
        self._app = app
        self._token = token.encode()
        self._hosts = frozenset(hosts)
        self._origins = frozenset(f"http://{host}" for host in self._hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one connection."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def hardened(message: Message) -> None:
            if message["type"] == "http.response.start":
                ours = {name.encode() for name, _ in HEADERS}
                kept = [(name, value) for name, value in message.get("headers", ())
                        if name.lower() not in ours and not name.lower().startswith(b"access-control-")]
                message["headers"] = [*kept, *((name.encode(), value.encode()) for name, value in HEADERS)]
            await send(message)

        refusal = self._refusal(scope)
        if refusal is None:
            await self._app(scope, receive, hardened)
            return
        status, text = refusal
        body = text.encode()
        await hardened({"type": "http.response.start", "status": status, "headers": [
            (b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()),
            (b"connection", b"close")]})
        await hardened({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        if len(headers.get("host", ())) != 1 or headers["host"][0].lower() not in self._hosts:
            return 403, "This page answers only to its own address on this machine."
        if any(origin not in self._origins for origin in headers.get("origin", ())):
            return 403, "Another page asked; only the page itself may."
        if any(site not in ("same-origin", "none") for site in headers.get("sec-fetch-site", ())) and (
                scope["path"].startswith("/api/")):
            return 403, "Another page asked; only the page itself may."
        if scope["path"].startswith("/api/"):
            given = headers.get(TOKEN_HEADER, [])
            if len(given) != 1 or not secrets.compare_digest(given[0].encode("latin-1", "replace"), self._token):
                return 401, "Open the address that was printed when this page was started; this tab lacks its key."
        length = headers.get("content-length", ["0"])[0]
        if not length.isdecimal():
            return 400, "The length of the request is no number."
        if int(length) > MAX_UPLOAD_BYTES:
            return 413, (f"The file has {int(length) / 2**20:.0f} MiB, more than a score needs (limit "
                         f"{MAX_UPLOAD_BYTES // 2**20} MiB). Export only the low-brass parts, or split the score.")
        return None
