"""``lowbrass serve``: a local page to drop a score on, change its marks, hear it, review it, and seat a section."""

import threading
import webbrowser
from contextlib import ExitStack

import click

from analyzer.commands.options import missing


@click.command("serve")
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="N",
              help="TCP port on this machine.  [default: any free one]")
@click.option("--open/--no-open", "browser", default=True, help="Open the page in the browser.  [default: open]")
def command(port: int, browser: bool) -> None:
    """Serve a page on this machine alone: drop a score, click a mark and change it, and hear it with a moving slide.

    The page also reviews a part, compares horns and says whether the piece suits a section entered in a form. Nothing
    of a score leaves the machine. The last 12 scores (50 MB at most), with what was set and pinned, and the section are
    kept in a folder that only you can read; the first screen names it, and forgets one or all. Ctrl-C stops it.
    """
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError as error:
        raise missing(error.name or "starlette", "web") from error
    from analyzer.web.server import door, serve

    with ExitStack() as opened:
        def ready(address: str) -> None:
            if browser:
                file = opened.enter_context(door(address))
                threading.Thread(target=webbrowser.open, args=(file.as_uri(),), daemon=True).start()
                click.echo(f"The page opens in your browser; if it does not, open {file} there, or start again with "
                           "--no-open.", err=True)
            else:
                click.echo(f"The page is at {address}", err=True)
            click.echo("Only this machine can open it. Ctrl-C stops it.", err=True)

        serve(port, ready)
    click.echo("Stopped.", err=True)
