"""The application: the page's few fixed files, its routes under ``/api/`` by subject, what is said where one fails."""

from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any

from analyzer.problem import Unreadable
from analyzer.report.plain import plain_line
from analyzer.web import horn_routes, library_routes, open_routes, practice_routes, score_routes, section_routes
from analyzer.web.page import Page
from analyzer.web.replies import json_reply
from analyzer.web.security import App, Guard, RefusedError

STATIC = Path(__file__).parent / "static"
_KINDS = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
FILES = {"/": ("page.html", "text/html"), **{f"/{path.name}": (path.name, _KINDS[path.suffix])
                                             for path in sorted(STATIC.iterdir()) if path.suffix in _KINDS}}
"""What may be fetched without the token: path to file and kind."""


def build(token: str, hosts: tuple[str, ...], page: Page) -> App:
    """Return the whole application, guarded."""
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    @asynccontextmanager
    async def lifespan(app: Starlette) -> Any:
        page.start()
        yield
        page.stop()

    async def static(request: Request) -> Response:
        name, kind = FILES[request.url.path]
        return Response((STATIC / name).read_bytes(), media_type=kind)

    async def on_unreadable(request: Request, error: Exception) -> Response:
        assert isinstance(error, Unreadable)
        return json_reply({"line": plain_line(error.problem), "problem": error.problem.as_json()}, 400)

    async def on_too_much(request: Request, error: Exception) -> Response:
        assert isinstance(error, RefusedError)
        return json_reply({"line": str(error)}, error.status)

    async def on_error(request: Request, error: Exception) -> Response:
        return json_reply({"line": "Something went wrong here that should not. Try again; if it stays so, load the "
                                   "page anew."}, 500)

    asked = {**open_routes.ROUTES, **score_routes.ROUTES, **section_routes.ROUTES, **horn_routes.ROUTES,
             **library_routes.ROUTES, **practice_routes.ROUTES}
    routes = [
        *(Route(path, static, methods=["GET"]) for path in FILES),
        Route("/fonts.css", page.fonts, methods=["GET"]),
        Route("/api/start", partial(open_routes.start, page), methods=["GET"]),
        *(Route(f"/api/{path}", partial(handler, page), methods=["POST"]) for path, handler in asked.items()),
    ]
    app = Starlette(routes=routes, lifespan=lifespan, exception_handlers={
        Unreadable: on_unreadable, RefusedError: on_too_much, Exception: on_error})
    return Guard(app, token=token, hosts=hosts)
