"""What every route needs: bodies read within bounds, answers as JSON or file, names that are only names."""

import asyncio
import json
import re
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

from analyzer.problem import Unreadable, unreadable

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

UPLOAD_TIME_S = 60.0
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_SPLIT = "Export only the low-brass parts, or split the score."


class RefusedError(Exception):
    """A request is refused with one line, for a reason that no file or question mends: size, time, too many at once."""

    def __init__(self, status: int, text: str) -> None:
        super().__init__(text)
        self.status = status


async def read_body(request: "Request", most: int, try_: str = _SPLIT) -> bytes:
    """Read a body of at most `most` bytes.

    Raises
    ------
    RefusedError
        If it is longer, does not come in time, or breaks off.
    """
    from starlette.requests import ClientDisconnect

    pieces: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(UPLOAD_TIME_S):
            async for piece in request.stream():
                size += len(piece)
                if size > most:
                    limit = f"{most // 2**20} MiB" if most >= 2**20 else f"{most // 2**10} KiB"
                    raise RefusedError(413, f"That is more than {limit}, more than is needed here. {try_}")
                pieces.append(piece)
    except TimeoutError:
        raise RefusedError(408, "The file did not arrive in time. Try again.") from None
    except ClientDisconnect:
        raise RefusedError(400, "The connection broke off.") from None
    return b"".join(pieces)


async def read_json(request: "Request", most: int) -> dict[str, Any]:
    """Read a body that is one JSON object.

    Raises
    ------
    RefusedError
        As for `read_body`.
    Unreadable
        If it is anything else.
    """
    body = await read_body(request, most, "Load the page again.")
    try:
        given = json.loads(body)
    except (ValueError, RecursionError):
        given = None
    if not isinstance(given, dict):
        raise unreadable("bad-question", where="the question", what="is no JSON object", try_="Load the page again.")
    return given


async def read_text(request: "Request", most: int) -> tuple[str, str]:
    """Read a body that is a text file; return the text and the file's name.

    Raises
    ------
    RefusedError
        As for `read_body`.
    Unreadable
        If it is no UTF-8.
    """
    name = file_name(request.headers.get("x-file-name", ""))
    body = await read_body(request, most, "Choose the text file that was meant.")
    try:
        return body.decode("utf-8-sig"), name
    except UnicodeDecodeError:
        raise unreadable("not-text", where=name, what="the file is not UTF-8 text", try_="Save it as UTF-8.") from None


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


def file_name(header: str) -> str:
    """Return a plain file name from what the browser sent: its last part, without control signs, not too long.

    Examples
    --------
    >>> file_name("..%2F..%2Fetc%2Fpasswd")
    'passwd'
    """
    name = _CONTROL.sub("", unquote(header, errors="replace")).replace("\\", "/").rsplit("/", 1)[-1].strip()
    if name in ("", ".", ".."):
        return "score"
    return name if len(name) <= 120 else f"{name[:100]}…{name[-15:]}"


def no_picture(error: Exception, name: str) -> Unreadable:
    """Return the problem of a score that cannot be engraved."""
    if isinstance(error, ModuleNotFoundError):
        return unreadable("missing-extra", where=name, what=f"the picture needs {error.name}, which is not installed",
                          try_="Install the extra: pip install 'lowbrass[engrave]'.")
    return unreadable("cannot-engrave", where=name, what=f"the music cannot be engraved: {error}",
                      try_="The choices are listed as text all the same.")
