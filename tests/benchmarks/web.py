"""The page under load: how soon a residual is seen, what is lost when many write or the server is killed."""

from __future__ import annotations

import asyncio
import io
import random
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import numpy as np
from PIL import Image

from tests.web.client import Client
from tests.web.conftest import SAMPLES, Running, reading, start
from tests.web.test_disk import kill_many, noted
from tests.web.test_openapi import run
from tests.web.test_together import together

CLIENTS, SECONDS, KILLS, ROUNDS = 50, 60.0, 300, 60


def table() -> list[str]:
    """All figures, as lines."""
    return ["the page (16-point car, 124 tapes, heights)", *_alone(), *_fifty(), *_killed(), *_odd_requests()]


@contextmanager
def _car() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        shop = Path(folder) / "shop"
        shutil.copytree(SAMPLES / "straight_saloon", shop / "saloon")
        yield shop


def _alone(readings: int = 100) -> list[str]:
    with _car() as shop:
        server = start(shop)
        try:
            asyncio.run(together(server, 1, 3))
            took = []
            with httpx.Client(base_url=server.url, headers=server.headers()) as client:
                for i in range(readings):
                    begun = time.perf_counter()
                    answer = client.post(
                        "/api/jobs/saloon/before/readings", json=reading(f"a{i}", f"1094.{i % 10}")
                    ).json()
                    assert answer["how"] != "working"
                    took.append(time.perf_counter() - begun)
        finally:
            server.stop()
    return [f"  one person: a reading to its residual  {_spread(took)}"]


def _spread(seconds: list[float]) -> str:
    middle, late = np.percentile(seconds, [50, 95])
    return f"median {1000 * middle:.0f} ms, 95 % within {1000 * late:.0f} ms (n = {len(seconds)})"


def _fifty() -> list[str]:
    with _car() as shop:
        server = start(shop)
        try:
            took, kept, pictures = asyncio.run(_load(server))
        finally:
            server.stop()
        text = (shop / "saloon/before/tape.csv").read_text(encoding="utf-8")
        lost = sum(text.count(f"outriggerL,rail1R,{length},floor") != 1 for length in kept)
        there = {path.name for path in (shop / "saloon/before/photos").iterdir()}
        missing = sum(name not in there for name in pictures)
    return [
        f"  {CLIENTS} at once for {SECONDS:.0f} s: {len(kept)} readings acknowledged, {lost} lost or double; "
        f"{len(pictures)} pictures, {missing} lost",
        f"    a reading to its answer  {_spread(took)}",
    ]


async def _load(server: Running) -> tuple[list[float], list[str], list[str]]:
    names: list[str] = []

    async def pictures() -> None:
        async with httpx.AsyncClient(base_url=server.url, headers=server.headers(), timeout=60) as client:
            until = time.monotonic() + SECONDS
            for i in range(10_000):
                if time.monotonic() > until:
                    return
                out = io.BytesIO()
                Image.new("RGB", (400, 300), (i % 256, i // 256, 9)).save(out, "JPEG")
                answer = await client.post("/api/jobs/saloon/before/photos", content=out.getvalue())
                if answer.status_code == 200:
                    names.append(answer.json()["name"])
                await asyncio.sleep(0.5)

    (took, kept), _ = await asyncio.gather(together(server, CLIENTS - 1, 1_000, SECONDS), pictures())
    return took, kept, names


def _killed() -> list[str]:
    with _car() as shop:
        noted(shop)
        kept = kill_many(shop, KILLS, random.Random(1))
    return [f"  killed {KILLS} times while writing: {kept} readings acknowledged, none lost, none double, no half file"]


def _odd_requests() -> list[str]:
    with _car() as shop:
        client = Client(shop)
        sent = run(client, ROUNDS)
        client.close()
    return [f"  {sent} requests made up by schemathesis: no failure of the server"]


if __name__ == "__main__":
    print("\n".join(table()))
