"""A tape of a job checked against known lengths, and what was found kept in job.toml."""

from __future__ import annotations

from math import sqrt
from pathlib import Path

from calib.known_lengths import read_known_lengths
from calib.tape_check import TapeCheck, TapeCheckError, check_tape
from calib.tape_class import LIMITS
from measure.findings import BadInput, Findings
from measure.job import load_job, update_job_toml


def check_tape_of_job(folder: Path, readings: Path, name: str) -> tuple[TapeCheck, Findings]:
    """Check the tape `name` of the job in `folder` against the table `readings`, and keep the result in [tape.NAME].

    From then on every reading of that tape is freed of its zero error, and its scale has the sd found here in place of
    its class's. Raises BadInput where the table or the job cannot be used; job.toml then stays as it was.
    """
    findings = Findings()
    job = load_job(folder, findings)
    if not readings.is_file():
        would_do = "name a table (.csv or .xlsx) with the columns known and reading"
        findings.error(readings.name, None, None, "a folder" if readings.is_dir() else "no such file", would_do)
    if job is None or findings.errors:
        raise BadInput(findings)
    lengths = read_known_lengths(
        readings.parent, readings.stem, job.units, findings, known_sd=job.sd.bar, sd=job.sd.tape
    )  # fmt: skip
    findings.raise_if_errors()
    try:
        result = check_tape(lengths or [])
    except TapeCheckError as problem:
        findings.error(readings.name, None, None, "too little to tell zero error from scale", str(problem))
        raise BadInput(findings) from None
    kept = result.settings()
    # A bare length in job.toml is in the job's unit: these are millimetres whatever that is.
    update_job_toml(folder, ("tape", name), {
        "zero": f"{kept['zero']:.3f} mm", "zero_sd": f"{kept['zero_sd']:.3f} mm",
        "scale": kept["scale"], "sd": kept["sd"],
    })  # fmt: skip
    known_class = (job.tapes[name].tape_class if name in job.tapes else None) or job.sd.tape_class
    promised = LIMITS[known_class][1] / 1000.0 / sqrt(3.0)
    if 0.0 < promised < result.scale_sd:
        findings.note(
            readings.name, None, None, f"a scale known to {1000 * result.scale_sd:.2f} mm per metre (sd)",
            f"class {known_class} promises {1000 * promised:.2f}: read longer known lengths, and more of them, "
            f"or take [tape.{name}] out again",
        )  # fmt: skip
    return result, findings
