"""The commands. No arithmetic here, and nothing heavy at the top: `--help` must feel instant."""

from measure.cli import acceptance, axle, camera, compare, drill, jobs, pattern, printed, report, serve
from measure.cli.group import main

__all__ = ["acceptance", "axle", "camera", "compare", "drill", "jobs", "main", "pattern", "printed", "report", "serve"]
