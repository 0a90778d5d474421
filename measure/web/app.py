"""The ASGI application: routes, templates, shipped files, behind the guard."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.templating import Jinja2Templates
from starlette.types import ASGIApp

from measure import __version__
from measure.findings import BadInput
from measure.history import HistoryError
from measure.report import words
from measure.web import api, make_api, pages, photo_api, stages
from measure.web.answers import BadRequestError, trouble
from measure.web.entering import RefusedError
from measure.web.fonts import font
from measure.web.guard import MOST_PHOTO, Guard
from measure.web.joining import Door
from measure.web.live import Stages
from measure.web.openapi import description
from measure.web.sentences import LANGUAGE, say
from measure.web.shop import NotHereError, Shop

HERE = Path(__file__).parent
TOLD: tuple[type[Exception], ...] = (
    BadInput, HistoryError, BadRequestError, RefusedError, NotHereError, ClientDisconnect, HTTPException, OSError,
    Exception,
)  # fmt: skip


def application(root: Path, door: Door, hosts: Iterable[str]) -> ASGIApp:
    """The page for a job or a folder of jobs. `hosts`: name and port that it answers to."""
    app = Starlette(routes=_routes(), exception_handlers=dict.fromkeys(TOLD, trouble))
    app.state.shop = Shop(root)
    app.state.stages = Stages()
    app.state.door = door
    app.state.templates = _templates(door)
    app.state.hosts = list(hosts)
    return Guard(app, door, app.state.hosts)


def _templates(door: Door) -> Jinja2Templates:
    env = Environment(
        loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    env.globals |= {
        "say": say,
        "version": __version__,
        "token": door.write_token,
        "locked": door.locked,
        "most_bytes": MOST_PHOTO,
        "language": LANGUAGE,
    }
    env.filters |= {
        "label": words.label, "figure": words.figure, "limit_of": words.limit, "standing": words.standing,
        "percent": words.percent, "printable": words.printable,
    }  # fmt: skip
    return Jinja2Templates(env=env)


def _routes() -> list[BaseRoute]:
    stage = "/jobs/{job}/{stage}"
    return [
        Route("/", pages.front),
        Route("/new", pages.new),
        Route("/invite", pages.invite),
        Route("/join", pages.join, methods=["GET"]),
        Route("/join", pages.joined, methods=["POST"]),
        Route("/jobs/{job}", pages.job),
        Route(stage + "/tape", pages.tape),
        Route(stage + "/heights", pages.heights),
        Route(stage + "/photos", pages.photos),
        Route(stage + "/results", pages.results),
        Route(stage + "/space", pages.space),
        Route(stage + "/more", pages.more),
        Route(stage + "/changes", pages.changes),
        Route(stage + "/sheet", pages.sheet),
        Route(stage + "/drawings/{name}.svg", pages.drawing),
        Route("/openapi.json", description),
        Route("/api/sentences", api.sentences),
        Route("/api/token", api.token),
        Route("/api/jobs", make_api.make, methods=["POST"]),
        Route("/api/jobs/{job}/stages", stages.make_stage, methods=["POST"]),
        Route("/api/jobs/{job}/{stage}/state", api.state),
        Route("/api/jobs/{job}/{stage}/document", api.whole_document),
        Route("/api/jobs/{job}/{stage}/fits/{source}", api.fit),
        Route("/api/jobs/{job}/points/{name}/like", api.like),
        Route("/api/jobs/{job}/{stage}/readings", api.enter_reading, methods=["POST"]),
        Route("/api/jobs/{job}/history", api.history),
        Route("/api/jobs/{job}/undo", api.undo, methods=["POST"]),
        Route("/api/jobs/{job}/{stage}/photos", photo_api.listed, methods=["GET"]),
        Route("/api/jobs/{job}/{stage}/photos", photo_api.upload, methods=["POST"]),
        Route("/api/jobs/{job}/{stage}/photos/{name}/picture", photo_api.picture),
        Route("/static/fonts/{style}.woff2", font),
        Mount("/static", StaticFiles(directory=HERE / "static")),
    ]
