"""Who may ask this server at all: pages it served itself, by a name nobody else can point at it, framed by nobody."""

import ipaddress
import socket
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

#: The names by which only this computer calls itself.
LOCAL_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


#: What the browser is told with every answer.
POLICY = {
    "content-security-policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; worker-src 'self' blob:; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        "object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
    ),
    "x-frame-options": "DENY",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
}


def host_name(host: str | None) -> str:
    """The name in a Host header, without the port; empty where there is none to trust."""
    try:
        return (urlsplit(f"//{host}").hostname or "").rstrip(".") if host else ""
    except ValueError:
        return ""


class SameOrigin:
    """Turns away a foreign Host (a page elsewhere that had its name pointed here) and a foreign Origin.

    A foreign name can be pointed at this computer, an IP address cannot, so addresses pass.
    It stands before Streamlit, which leaves Host and Origin of HTTP requests alone and, to judge
    a foreign Origin of a WebSocket, would ask a host on the internet for this computer's address.
    """

    def __init__(self, app: ASGIApp, address: str) -> None:
        own = socket.gethostname().lower()
        self._app = app
        self._names = LOCAL_NAMES | {own, f"{own}.local", address.lower()}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what is our own, turn the rest away."""
        if scope["type"] == "lifespan" or self._is_own(Headers(scope=scope)):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await WebSocketClose()(scope, receive, send)
        else:
            refusal = "This address is not Roundsheet's own: open it by the address it printed at its start."
            await PlainTextResponse(refusal, status_code=403)(scope, receive, send)

    def _is_own(self, headers: Headers) -> bool:
        name = host_name(headers.get("host"))
        origin = headers.get("origin")
        same = origin in (None, f"http://{headers.get('host')}", f"https://{headers.get('host')}")
        return same and (name in self._names or ip(name) is not None)


class Policy:
    """Tells the browser with every answer what a page of ours may do: show itself, and nothing from elsewhere.

    No page of another site may frame ours, or it could lay a button of its own over one of them (clickjacking: OWASP
    Clickjacking Defense Cheat Sheet; Content Security Policy Level 3, frame-ancestors). Streamlit writes styles and
    scripts into its page and compiles expressions of charts, so these two cannot be forbidden.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass everything on, and add the headers to the start of each answer."""

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(POLICY)
            await send(message)

        await self._app(scope, receive, told)


def ip(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """The IP address a text is, or None."""
    try:
        return ipaddress.ip_address(text)
    except ValueError:
        return None
