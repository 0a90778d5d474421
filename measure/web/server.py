"""Starting the page: address, code for phones, browser; and stopping it well."""

from __future__ import annotations

import contextlib
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from measure.atomic import sweep
from measure.job import PHOTOS
from measure.web.addresses import candidates
from measure.web.joining import MINUTES, Door
from measure.web.shop import Shop

if TYPE_CHECKING:  # heavy
    import uvicorn
    from starlette.types import ASGIApp

    from measure.web.timed import TimedProtocol

Tell = Callable[[str], None]


class NoAddressError(Exception):
    """The page cannot listen there; `str()` says why, and what would do."""


def serve(root: Path, *, lan: bool, host: str | None, port: int, open_browser: bool, tell: Tell) -> None:
    """Serve until stopped. Raises NoAddressError before anything is served."""
    from measure.web.app import application

    address = host or (_chosen(tell) if lan else "127.0.0.1")
    if address in ("0.0.0.0", "::"):
        raise NoAddressError(
            f"{address} is every address of this computer at once: name the one that phones are to use"
        )
    listening = _listen(address, port)
    port = listening.getsockname()[1]
    _sweep(root)
    door = Door(locked=lan or address not in ("127.0.0.1", "localhost", "::1"))
    names = {address, "127.0.0.1", "localhost"} if address in ("127.0.0.1", "localhost") else {address, *_own_names()}
    hosts = [_place(name, port) for name in sorted(names)]
    if door.locked:
        _tell_phones(address, port, door, tell)
    own = f"http://{_place(address, port)}/" + (f"join#{door.invite()}" if door.locked else "")
    if not door.locked or not open_browser:
        tell(f"On this computer: {own}")
    tell("Stop with Ctrl+C. Everything is saved as it is entered.")
    app = application(root, door, hosts)
    if open_browser:
        webbrowser.open(own)
    with contextlib.suppress(KeyboardInterrupt):
        server(app).run(sockets=[listening])


def server(app: ASGIApp, http: type[TimedProtocol] | None = None) -> uvicorn.Server:
    """The server of the page, not yet running; `http` with other limits is for tests."""
    import uvicorn

    from measure.web.timed import TimedProtocol

    config = uvicorn.Config(
        app, http=http or TimedProtocol, ws="none", log_level="warning", access_log=False, server_header=False,
        timeout_keep_alive=20, proxy_headers=False, limit_concurrency=400, h11_max_incomplete_event_size=32_768,
    )  # fmt: skip
    return uvicorn.Server(config)


def _place(name: str, port: int) -> str:
    """Name and port as they stand in an address, where a browser leaves out port 80."""
    name = f"[{name}]" if ":" in name else name
    return name if port == 80 else f"{name}:{port}"


def _sweep(root: Path) -> None:
    """Remove the unfinished files that killed runs left in the jobs; what a link leads to is let be."""
    for job in Shop(root).jobs().values():
        for folder in (job, *job.glob("*/"), *job.glob(f"*/{PHOTOS}/")):
            if folder.resolve().is_relative_to(job.resolve()):
                sweep(folder)


def _own_names() -> set[str]:
    """What this computer is called in its network."""
    name = socket.gethostname().partition(".")[0]
    return {socket.gethostname(), name, f"{name}.local"}


def _listen(address: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((address, port))
    except OSError as problem:
        made.close()
        raise NoAddressError(
            f"{address} port {port}: {problem.strerror}; stop what runs there, or name another with --port"
        ) from None
    made.listen(128)  # a browser that is quicker than the server waits rather than being refused
    return made


def _chosen(tell: Tell) -> str:
    found = candidates()
    if not found:
        raise NoAddressError("no network address was found: join the network first, or name one with --host")
    if len(found) > 1:
        tell(f"Phones reach this computer at {found[0].ip} ({found[0].why}). If they do not, name another with --host:")
        for other in found[1:]:
            tell(f"  {other.ip} ({other.why})")
    return found[0].ip


def _tell_phones(address: str, port: int, door: Door, tell: Tell) -> None:
    import io

    import segno

    link = f"http://{_place(address, port)}/join#{door.invite()}"
    picture = io.StringIO()
    segno.make(link, error="l").terminal(out=picture, compact=True, border=2)
    tell(picture.getvalue())
    tell(f"Scan this with the phone's camera, or type {link}")
    tell(f"It lets one phone in, once, within {MINUTES} minutes; the next code is on the page under “Add a phone”.")
    tell(f"A phone that finds nothing there: does it open http://{_place(address, port)}/static/icon.svg ?")
    tell("If not, it is in another network, or a firewall on this computer refuses it.")
