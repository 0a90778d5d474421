"""A server that can be killed and started in no time: all is imported once, each run is a fork that is killed.

Run as `python -m tests.web.forking FOLDER`; prints the port, then the number of a server's process for each line read.
The car is not worked out, so that nearly all of a server's life is spent writing.
"""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path

TOKEN = "known-to-the-test"


def main(folder: Path) -> None:
    import uvicorn

    from measure.web import live
    from measure.web.app import application
    from measure.web.joining import Door

    def unsolved(folder: Path, stage: str) -> live.View:
        signed = live.signature(folder, stage)
        return live.View(signed, live.revision_of(signed), None, None, "")

    live.solved = unsolved

    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    listening.listen(64)
    port = listening.getsockname()[1]
    print(port, flush=True)
    while sys.stdin.readline():
        child = os.fork()
        if child == 0:
            door = Door(False)
            door.write_token = TOKEN
            app = application(folder, door, [f"127.0.0.1:{port}"])
            uvicorn.Server(uvicorn.Config(app, log_level="critical", access_log=False, ws="none")).run([listening])
            os._exit(0)
        print(child, flush=True)
        os.waitpid(child, 0)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
