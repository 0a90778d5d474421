"""The commands. No arithmetic here, and nothing heavy at the top: `--help` must feel instant."""

from measure.cli import acceptance, axle, camera, compare, drill, jobs, pattern, photo, printed, report, serve
from measure.cli.group import main

__all__ = [
    "acceptance", "axle", "camera", "compare", "drill", "jobs", "main", "pattern", "photo", "printed", "report",
    "serve",
]  # fmt: skip
