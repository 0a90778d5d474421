"""The description of the page's JSON interface (OpenAPI 3.1), made from one table of operations."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from measure import __version__
from measure.web.entering import FORMS

TEXT = {"type": "string", "maxLength": 200}
ID = {
    "type": "string",
    "pattern": "^[A-Za-z0-9_-]{1,80}$",
    "description": "named by the client; a repeat changes nothing",
}
CELLS = {
    "type": "object", "additionalProperties": TEXT, "maxProperties": 12,
    "description": "from, to, where, length; or point, height; as in the table",
}  # fmt: skip
READING = {
    "type": "object", "required": ["id", "table", "cells"],
    "properties": {
        "id": ID, "table": {"enum": sorted(FORMS)}, "mode": {"enum": ["fill", "add", "clear"], "default": "fill"},
        "cells": CELLS, "line": {"type": ["integer", "null"], "minimum": 0, "maximum": 999_999},
        "seen": {**TEXT, "description": "what stood in the cell when the person looked: nothing else is overwritten"},
        "instead": {
            "type": "array", "items": TEXT, "maxItems": 50,
            "description": "ids of the person's own readings that waited, and gave way to this one",
        },
    },
}  # fmt: skip
POINT = {"type": "object", "properties": dict.fromkeys(("name", "side", "pair", "part", "note"), TEXT)}
CAR = {
    "type": "object", "required": ["name"],
    "properties": {
        "name": {"type": "string", "minLength": 1, "maxLength": 60}, "units": {"enum": ["mm", "in"]},
        "points": {"type": "array", "items": POINT, "minItems": 1, "maxItems": 400},
        "table": {"type": "string", "maxLength": 250_000, "description": "a table of points instead, in base64"},
        "file": {**TEXT, "description": "what that table is called"},
    },
}  # fmt: skip
AGAIN = {
    "type": "object", "required": ["id", "name"],
    "properties": {"id": ID, "name": {"type": "string", "minLength": 1, "maxLength": 60}},
}  # fmt: skip
UNDO = {"type": "object", "required": ["id", "number"], "properties": {"id": ID, "number": {"type": "integer"}}}
TOKEN = {"type": "object", "required": ["token"], "properties": {"token": TEXT}}
PHOTO = {"type": "string", "contentMediaType": "application/octet-stream"}

STAGE = "/api/jobs/{job}/{stage}"
OPERATIONS: tuple[tuple[str, str, str, dict[str, Any] | None, str], ...] = (
    ("get", "/api/sentences", "Every sentence of the page", None, "application/json"),
    ("get", "/api/token", "The token that writes carry", None, "application/json"),
    ("post", "/api/jobs", "Make a car", CAR, "application/json"),
    ("post", "/api/jobs/{job}/stages", "Measure a car again: a new stage", AGAIN, "application/json"),
    ("get", STAGE + "/state", "Revision of a stage, and how each reading fits", None, "application/json"),
    ("get", STAGE + "/document", "The result document, as `plumbsquare check --json`", None, "application/json"),
    ("get", STAGE + "/fits/{source}", "How one reading fits, such as tape.csv:12", None, "application/json"),
    ("get", "/api/jobs/{job}/points/{name}/like", "The point with the nearest name", None, "application/json"),
    ("post", STAGE + "/readings", "Enter one reading", READING, "application/json"),
    ("get", STAGE + "/photos", "The photographs, and what was found in each", None, "application/json"),
    ("post", STAGE + "/photos", "Send one photograph", PHOTO, "application/octet-stream"),
    ("get", STAGE + "/photos/{name}/picture", "A photograph, reduced, targets drawn", None, "image/jpeg"),
    ("get", "/api/jobs/{job}/history", "Every change", None, "application/json"),
    ("post", "/api/jobs/{job}/undo", "Take one change back", UNDO, "application/json"),
    ("post", "/join", "Exchange a one-time token for a cookie", TOKEN, "application/json"),
)
REFUSALS = {
    "400": "not understood", "401": "no cookie", "403": "wrong origin or token", "404": "no such thing",
    "408": "it broke off, or came too slowly", "409": "changed meanwhile", "411": "no length", "413": "too large",
    "421": "wrong host", "422": "refused, with why",
}  # fmt: skip


def document() -> dict[str, Any]:
    """The description as plain data."""
    paths: dict[str, Any] = {}
    for method, path, summary, body, kind in OPERATIONS:
        names = [part[1:-1] for part in path.split("/") if part.startswith("{")]
        operation: dict[str, Any] = {
            "summary": summary, "operationId": f"{method}{path}".replace("/", "_").replace("{", "").replace("}", ""),
            "parameters": [{"name": n, "in": "path", "required": True, "schema": {"type": "string"}} for n in names],
            "responses": {code: {"description": words} for code, words in {"200": "done", **REFUSALS}.items()},
        }  # fmt: skip
        if method == "get":
            operation["responses"] |= {"304": {"description": "as it was"}}
            operation["responses"]["200"]["content"] = {kind: {}}
        if body is not None:
            operation["responses"] |= {"201": {"description": "made"}, "204": {"description": "let in"}}
            operation["requestBody"] = {"required": True, "content": {kind: {"schema": body}}}
            operation["parameters"] += [
                {"name": "x-plumbsquare-token", "in": "header", "required": True, "schema": {"type": "string"}}
            ]
        paths.setdefault(path, {})[method] = operation
    return {"openapi": "3.1.0", "info": {"title": "plumbsquare", "version": __version__}, "paths": paths}


async def description(request: Request) -> Response:
    """Serve it."""
    return JSONResponse(document())
