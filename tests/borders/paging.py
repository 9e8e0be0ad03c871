"""The local page in this process, asked for all that it does with a file: the fuzzing in place of a browser."""

import asyncio
import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

HOST, TOKEN = "127.0.0.1:1", "a-token-for-tests"
_ASKED = ("plan", "music", "pictures", "sound", "review", "playable")
_TAKEN = (".musicxml", ".pdf", ".html", ".json", ".mid", "take-home", "practice")


class FaultError(Exception):
    """An answer that no page may give."""


def asked(files: list[Path]) -> int:
    """Give a page these files, as a user drops them, and ask for everything; return the exit code of a command.

    1 if a file was refused, as a command would; each refusal is printed.

    Raises
    ------
    FaultError
        If an answer is a fault of the page, or no JSON.
    """
    from analyzer.web.app import build
    from analyzer.web.page import Page

    page = Page()
    try:
        return asyncio.run(_journey(build(TOKEN, (HOST,), page), files))
    finally:
        page.stop()


async def _journey(app: Any, files: list[Path]) -> int:
    import httpx

    async with httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url=f"http://{HOST}", timeout=120,
                                 headers={"X-Lowbrass-Token": TOKEN}) as client:
        async def post(path: str, content: bytes | str, name: str = "") -> Any:
            reply = await client.post(f"/api/{path}", content=content, headers={"x-file-name": quote(name)})
            if reply.status_code >= 500:
                raise FaultError(f"{path}: {reply.status_code} {reply.text[:200]}")
            told = json.loads(reply.text, parse_constant=_no_number) if "json" in reply.headers["content-type"] else {}
            if reply.status_code != 200:
                print(f"{path}: {told.get('line') or reply.text}")
            return told if reply.status_code == 200 else None

        refused = False
        for file in files:
            data = file.read_bytes()
            if file.suffix == ".toml":
                path = {"band": "section/read", "player": "player/read"}.get(file.stem)
                refused |= path is not None and await post(path, data, file.name) is None
                continue
            opened = await post("open?keep=no", data, file.name)
            refused |= opened is None
            for part in (opened["parts"] if opened else ())[:2]:
                question = {"session": opened["session"], "part": part["id"], "line": 1, "width": 900}
                for path in _ASKED:
                    await post(path, json.dumps(question))
                for ending in _TAKEN:
                    await post("file", json.dumps({**question, "ending": ending}))
                await post("compare", json.dumps({**question, "horns": ["tenor", "tenor-f"]}))
                for pins in (each for each in files if each.stem == "pins"):
                    text = pins.read_text(encoding="utf-8", errors="replace")
                    await post("pins/read", json.dumps({**question, "text": text, "name": pins.name}))
        return int(refused)


def _no_number(text: str) -> float:
    raise FaultError(f"{text} in an answer")
