"""Answers in the form that they travel in."""

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from analyzer.plain import json_text

if TYPE_CHECKING:
    from starlette.responses import Response


def json_reply(content: dict[str, Any] | bytes, status: int = 200, headers: dict[str, str] | None = None,
               ) -> "Response":
    """Return an answer as JSON; bytes are JSON already."""
    from starlette.responses import Response

    body = content if isinstance(content, bytes) else json_text(content, indent=None)
    return Response(body, status_code=status, media_type="application/json", headers=headers)


def file_reply(content: bytes, name: str) -> "Response":
    """Return an answer that the browser saves under a name."""
    from starlette.responses import Response

    return Response(content, media_type="application/octet-stream", headers={
        "content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"})
