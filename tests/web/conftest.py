"""A car, a door and a client for the page; and a whole server in a process of its own."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.web.browsing import a_browser, a_page
from tests.web.client import Client

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_data"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder with one car, the straight sample."""
    folder = tmp_path / "shop"
    shutil.copytree(SAMPLES / "straight_saloon", folder / "saloon")
    return folder


@dataclass
class Running:
    """A server: where it listens, and the token its pages carry."""

    process: subprocess.Popen[bytes]
    port: int
    token: str = ""

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def headers(self) -> dict[str, str]:
        return {"origin": self.url, "x-plumbsquare-token": self.token, "content-type": "application/json"}

    def stop(self) -> None:
        self.process.kill()
        self.process.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(folder: Path, port: int | None = None) -> Running:
    """A server in a process of its own, answering."""
    port = port or free_port()
    command = [sys.executable, "-m", "measure", "serve", str(folder), "--no-browser", "--port", str(port)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
    running = Running(process, port)
    until = time.monotonic() + 30
    while time.monotonic() < until:
        try:
            running.token = httpx.get(f"{running.url}/api/token", timeout=5).json()["token"]
            return running
        except (httpx.TransportError, ValueError):
            assert process.poll() is None, "the server ended by itself"
            time.sleep(0.03)
    running.stop()
    raise AssertionError("the server did not answer")


@pytest.fixture
def server(shop: Path) -> Iterator[Running]:
    running = start(shop)
    yield running
    running.stop()


def token_in(page: str) -> str:
    found = re.search(r'name="plumbsquare-token" content="([^"]+)"', page)
    assert found
    return found[1]


Reading = Callable[..., dict[str, object]]


def reading(id_: str, length: str, **more: object) -> dict[str, object]:
    """A request to enter a floor tape outriggerL to rail1R."""
    cells = {"from": "outriggerL", "to": "rail1R", "where": "floor", "length": length}
    return {"id": id_, "table": "tape", "mode": "add", "cells": cells, **more}


@pytest.fixture
def client(shop: Path) -> Iterator[Client]:
    made = Client(shop)
    yield made
    made.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with a_browser() as made:
        yield made


@pytest.fixture(scope="module")
def running(cars: Path) -> Iterator[Running]:
    """A server for all tests of a module that says which `cars` it has."""
    made = start(cars)
    yield made
    made.stop()


@pytest.fixture
def phone(browser: Any, server: Running) -> Iterator[Any]:
    page = a_page(browser, server.url)
    yield page
    assert page.wrong == []
    page.context.close()
