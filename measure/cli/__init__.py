"""The commands. No arithmetic here, and nothing heavy at the top: `--help` must feel instant."""

from measure.cli import jobs
from measure.cli.group import main

__all__ = ["jobs", "main"]
