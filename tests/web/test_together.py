"""Many at once on one car: nothing lost, nothing double, everyone sees everything."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import httpx

from tests.web.conftest import Running, reading


def test_many_at_once_lose_nothing(server: Running, shop: Path) -> None:
    took, kept = asyncio.run(together(server, clients=12, each=3))
    text = (shop / "saloon/before/tape.csv").read_text(encoding="utf-8")
    for length in kept:
        assert text.count(f"outriggerL,rail1R,{length},floor") == 1
    assert len(kept) == 36 and len(took) == 36


def test_the_other_sees_a_reading_the_next_time_it_looks(server: Running) -> None:
    with httpx.Client(base_url=server.url, headers=server.headers()) as client:
        page = "/jobs/saloon/before/tape?part=now"
        tag = client.get(page).headers["etag"]
        client.post("/api/jobs/saloon/before/readings", json=reading("seen", "1094.125"))
        assert "1094.125" in client.get(page, headers={"if-none-match": tag}).text


async def together(server: Running, clients: int, each: int, seconds: float = 1e9) -> tuple[list[float], list[str]]:
    """(seconds each took to its residual, lengths acknowledged) of so many clients that enter readings at once."""
    took: list[float] = []
    kept: list[str] = []
    until = time.monotonic() + seconds

    async def one(number: int) -> None:
        async with httpx.AsyncClient(base_url=server.url, headers=server.headers(), timeout=60) as client:
            for i in range(each):
                if time.monotonic() > until:
                    return
                length = f"1094.{(7 * number + i) % 10}{number:03d}{i:03d}"
                begun = time.perf_counter()
                wanted = reading(f"c{number}n{i}", length)
                answer = await client.post("/api/jobs/saloon/before/readings", json=wanted)
                assert answer.status_code == 200, answer.text
                took.append(time.perf_counter() - begun)
                kept.append(length)

    await asyncio.gather(*(one(number) for number in range(clients)))
    return took, kept
