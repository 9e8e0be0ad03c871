"""Answers in the form that they travel in."""

import json
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

if TYPE_CHECKING:
    from starlette.responses import Response


def json_reply(content: dict[str, Any], status: int = 200, headers: dict[str, str] | None = None) -> "Response":
    """Return an answer as JSON."""
    from starlette.responses import Response

    return Response(json.dumps(content, ensure_ascii=False, separators=(",", ":")), status_code=status,
                    media_type="application/json", headers=headers)


def file_reply(content: bytes, name: str) -> "Response":
    """Return an answer that the browser saves under a name."""
    from starlette.responses import Response

    return Response(content, media_type="application/octet-stream", headers={
        "content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"})
