"""Serve the page on the loopback address until Ctrl-C."""

import os
import shutil
import signal
import socket
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from analyzer.problem import unreadable
from analyzer.web.app import build
from analyzer.web.clients import MOST_CONNECTIONS, protocol
from analyzer.web.memory import memory_here
from analyzer.web.page import Page
from analyzer.web.scores import samples_folder
from analyzer.web.security import new_token

ADDRESS = "127.0.0.1"


@contextmanager
def door(address: str) -> Iterator[Path]:
    """Yield a page that leads to `address`, in a folder that only its owner can read; both go at the end.

    A browser is started with the name of this file: its command line, which other users of the machine can read, does
    not hold the key.
    """
    folder = Path(tempfile.mkdtemp(prefix="lowbrass-"))
    try:
        file = folder / "open.html"
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as out:
            out.write('<!DOCTYPE html><html lang="en"><meta charset="utf-8"><meta name="referrer" '
                      f'content="no-referrer"><meta http-equiv="refresh" content="0; url={address}">'
                      f'<title>lowbrass</title><p><a href="{address}" rel="noreferrer">Open the page</a></p></html>\n')
        yield file
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def serve(port: int, ready: Callable[[str], None]) -> None:
    """Serve until SIGINT or SIGTERM; `ready` gets the address of the page with its token once the port is ours.

    Parameters
    ----------
    port : int
        TCP port, 0 for any free one.
    ready : callable
        Told the address.

    Raises
    ------
    Unreadable
        If the port is taken or not allowed.
    """
    import uvicorn

    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((ADDRESS, port))
    except OSError as error:
        listener.close()
        raise unreadable("port", where=f"{ADDRESS}:{port}", what=f"this port cannot be used ({error.strerror})",
                         try_="Take another with --port, or leave --port out for any free one.") from error
    listener.listen(512)
    found = listener.getsockname()[1]
    token = new_token()
    page = Page(samples=samples_folder(), memory=memory_here())
    app = build(token, (f"{ADDRESS}:{found}", f"localhost:{found}"), page)
    config = uvicorn.Config(app, log_level="error", access_log=False, server_header=False, proxy_headers=False,
                            ws="none", lifespan="on", timeout_graceful_shutdown=2, timeout_keep_alive=10,
                            limit_concurrency=MOST_CONNECTIONS, h11_max_incomplete_event_size=16384,
                            http=protocol())
    server = uvicorn.Server(config)

    def stop(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    # uvicorn raises the signal once more when it has stopped; by then these handlers stand again.
    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        ready(f"http://{ADDRESS}:{found}/#key={token}")
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        listener.close()
