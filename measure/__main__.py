"""`python -m measure` is `plumbsquare`."""

from measure.cli import main

main(prog_name="plumbsquare")
