"""The page's own description, and what happens to those who do not keep to it: never a failure of the server."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.web.app import _routes
from measure.web.openapi import document
from tests.web.client import Client

ROUNDS = 9


def test_it_names_every_route_of_the_interface() -> None:
    described = {(path, method) for path, entry in document()["paths"].items() for method in entry}
    served = {
        (route.path, method.lower()) for route in _routes() if getattr(route, "path", "").startswith(("/api/", "/join"))
        for method in getattr(route, "methods", ()) if method != "HEAD"
    }  # fmt: skip
    assert served - described == {("/join", "get")} and described <= served


def test_no_request_makes_the_server_fail(client: Client, shop: Path) -> None:
    assert run(client, ROUNDS) > 80


def run(client: Client, rounds: int) -> int:
    """Send what schemathesis makes of the description; the number of requests."""
    schemathesis = pytest.importorskip("schemathesis")
    from hypothesis import HealthCheck, Phase, given, settings

    schema = schemathesis.openapi.from_dict(document())
    sent = 0
    for result in schema.get_all_operations():
        operation = result.ok()

        @given(case=operation.as_strategy())
        @settings(
            max_examples=rounds, deadline=None, database=None, derandomize=True, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        def one(case) -> None:  # type: ignore[no-untyped-def]
            nonlocal sent
            for known in ("job", "stage"):
                if known in case.path_parameters and sent % 4:
                    case.path_parameters[known] = {"job": "saloon", "stage": "before"}[known]
            made = case.as_transport_kwargs(base_url="http://127.0.0.1:8177")
            content = {key: made[key] for key in ("json", "data") if made.get(key) is not None}
            if "data" in content:
                data = content.pop("data")
                content["content"] = data if isinstance(data, bytes) else str(data).encode("utf-8", "replace")
            headers = {
                k: v for k, v in dict(made.get("headers") or {}).items() if k.lower() not in ("host", "content-length")
            }
            answer = client.ask(
                made["method"],
                made["url"].removeprefix("http://127.0.0.1:8177"),
                {**headers, **client.own()},
                **content,
            )
            assert answer.status_code < 500, f"{made['method']} {made['url']}: {answer.text}"
            sent += 1

        one()
    return sent
