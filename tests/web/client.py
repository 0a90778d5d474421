"""A client for the application in this process, with the headers of its own page."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import httpx

from measure.web.app import application
from measure.web.joining import Door

HOST = "127.0.0.1:8177"


class Client:
    """Requests straight into the application; each on an event loop of its own."""

    def __init__(self, root: Path, *, locked: bool = False) -> None:
        self.door = Door(locked)
        self.app = application(root, self.door, [HOST, "localhost:8177"])
        self.loop = asyncio.new_event_loop()
        self.cookies = httpx.Cookies()

    def close(self) -> None:
        self.loop.close()

    def ask(self, method: str, path: str, headers: dict[str, str] | None = None, **more: Any) -> httpx.Response:
        async def one() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(
                transport=transport, base_url=f"http://{HOST}", cookies=self.cookies
            ) as client:
                answer = await client.request(method, path, headers=headers, **more)
                self.cookies.update(client.cookies)
                return answer

        return self.loop.run_until_complete(one())

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self.ask("GET", path, headers)

    def own(self) -> dict[str, str]:
        return {"origin": f"http://{HOST}", "x-plumbsquare-token": self.door.write_token}

    def post(self, path: str, data: Any = None, *, content: bytes | None = None, **headers: str) -> httpx.Response:
        own = {**self.own(), **headers}
        if content is not None:
            return self.ask("POST", path, own, content=content)
        return self.ask("POST", path, own, json=data)
