"""Trouble, told: every exception a route may raise becomes a status and a sentence, as JSON or as a page."""

from __future__ import annotations

import errno
import logging
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from measure.findings import BadInput
from measure.history import HistoryError
from measure.web.entering import ConflictError, RefusedError
from measure.web.sentences import say
from measure.web.shop import NotHereError

log = logging.getLogger(__name__)


class BadRequestError(Exception):
    """A request that the page itself never makes."""


def trouble(request: Request, problem: Exception) -> Response:
    """The answer to an exception."""
    status, words, more = _told(problem)
    if status == 500:
        log.error("%s %s", request.method, request.url.path, exc_info=problem)
    if request.url.path.startswith("/api/") or request.query_params.get("part") == "now":  # for the script in the page
        return JSONResponse({"error": words, **more}, status)
    templates = getattr(request.app.state, "templates", None)
    if templates is None:
        return PlainTextResponse(words, status)
    context = {"words": words, "job": None, "key": "", "stage": "", "here": ""}
    page: Response = templates.TemplateResponse(request, "trouble.html", context, status_code=status)
    return page


def _told(problem: Exception) -> tuple[int, str, dict[str, Any]]:
    if isinstance(problem, ConflictError):
        return 409, str(problem), {"now": problem.now}
    if isinstance(problem, RefusedError):
        return 422, str(problem), {}
    if isinstance(problem, HistoryError):
        return 409, str(problem), {}
    if isinstance(problem, NotHereError):
        what = str(problem)
        return 404, say("not_found", what=f"{what[:1].upper()}{what[1:]}."), {}
    if isinstance(problem, BadRequestError):
        return 400, say("bad_request", what=problem), {}
    if isinstance(problem, BadInput):
        return 422, str(problem), {}
    if isinstance(problem, ClientDisconnect):
        return 408, say("broke_off"), {}
    if isinstance(problem, HTTPException):
        what = "" if problem.status_code == 404 else problem.detail
        return problem.status_code, say("not_found" if problem.status_code == 404 else "bad_request", what=what), {}
    if isinstance(problem, OSError):
        return 507, disk_words(problem), {}
    return 500, say("broken"), {}


def disk_words(problem: OSError) -> str:
    """What a disk's refusal means at the car."""
    if problem.errno in (errno.ENOSPC, errno.EDQUOT):
        return say("disk_full")
    if problem.errno in (errno.EACCES, errno.EROFS, errno.EPERM):
        return say("read_only")
    if problem.errno in (errno.ENOENT, errno.ENOTDIR, errno.ESTALE):
        return say("folder_gone")
    return say("disk_trouble", what=problem.strerror or problem)
