"""What a tape check found, in the shop's words first, the figure second, the statistics last."""

from __future__ import annotations

from calib.tape_check import TapeCheck


def tape_lines(result: TapeCheck, name: str) -> list[str]:
    """Lines for the console."""
    who = f'tape "{name}"' if name else "the tape"
    zero = "long" if result.zero > 0 else "short"
    per_metre = 1000.0 * result.scale
    scale = "long" if per_metre > 0 else "short"
    section = name or '""'
    lines = [
        f"{who}: reads {abs(result.zero):.2f} mm {zero} at its end (± {result.zero_u95:.2f}), "
        f"and {abs(per_metre):.2f} mm per metre {scale} (± {1000 * result.scale_u95:.2f}).",
        f"Checked from {result.shortest:.0f} to {result.longest:.0f} mm. Written to [tape.{section}] of job.toml "
        "and taken off every reading from now on.",
    ]
    if result.passed is None:
        lines.append("Two lengths leave nothing to judge the readings by: read a third.")
    elif result.passed:
        lines.append(f"The readings scatter as stated (sigma0 {result.sigma0:.2f}).")
    else:
        lines.append(
            f"The readings scatter {result.factor:.1f} times as much as stated (sigma0 {result.sigma0:.2f}, at most "
            f"{result.sigma0_limit:.2f} by chance): the uncertainty was raised to match. Read the lengths again."
        )
    worst = max(abs(float(r)) for r in result.residuals)
    lines.append(f"The reading farthest off the line misses it by {worst:.2f} mm.")
    return lines
