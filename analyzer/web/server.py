"""Serve the page on the loopback address until Ctrl-C."""

import signal
import socket
from collections.abc import Callable
from types import FrameType

from analyzer.problem import unreadable
from analyzer.web.app import Page, build
from analyzer.web.security import new_token
from analyzer.web.state import samples_folder

ADDRESS = "127.0.0.1"


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
    listener.listen(128)
    found = listener.getsockname()[1]
    token = new_token()
    app = build(token, (f"{ADDRESS}:{found}", f"localhost:{found}"), Page(samples=samples_folder()))
    config = uvicorn.Config(app, log_level="error", access_log=False, server_header=False, proxy_headers=False,
                            ws="none", lifespan="on", timeout_graceful_shutdown=2, timeout_keep_alive=10,
                            limit_concurrency=256, h11_max_incomplete_event_size=16384, http="h11")
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
