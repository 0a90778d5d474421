"""A small straight car by hand, measured without error, and its job folder as texts: easy to spoil one thing of."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Sequence
from itertools import combinations, pairwise
from pathlib import Path

STATIONS = {
    "horn": (0.0, 400.0, 600.0),
    "cradle": (-700.0, 420.0, 500.0),
    "mid": (-1500.0, 450.0, 480.0),
    "kick": (-2400.0, 440.0, 520.0),
    "tail": (-3300.0, 380.0, 650.0),
}  # x, half width, height, mm
AXLE = (-2600.0, 680.0, 300.0)

Place = tuple[float, ...]
Files = dict[str, str | bytes]


def place(name: str) -> Place:
    x, y, z = AXLE if name.startswith("axle") else STATIONS[name[:-1]]
    return x, y if name.endswith("L") else -y, z


def names(stations: Iterable[str] = tuple(STATIONS), *, axle: bool = True) -> list[str]:
    return [key + side for key in (*stations, *(["axle"] if axle else [])) for side in "LR"]


ALL = names()


def job_toml(extra: str = "", *, stages: str = '["before"]', units: str = "mm") -> str:
    return f'title = "odd"\nunits = "{units}"\nstages = {stages}\n{extra}'


def points(which: Sequence[str] = ALL, part: str = "reference") -> str:
    rows = [f"{n},{n[-1]},{'axle:rear' if n.startswith('axle') else part}\n" for n in which]
    return "name,side,part\n" + "".join(rows)


def length(a: str, b: str, where: str = "floor") -> float:
    axes = 2 if where == "floor" else 3
    return math.dist(place(a)[:axes], place(b)[:axes])


def lengths(
    pairs: Iterable[tuple[str, str]], where: str = "floor", change: Callable[[float], float] = lambda d: d
) -> str:
    """tape.csv, to half a millimetre unless changed."""
    rows = [f"{a},{b},{change(round(2 * length(a, b, where)) / 2)},{where}\n" for a, b in pairs]
    return "from,to,length,where\n" + "".join(rows)


def every(which: Sequence[str] = ALL) -> list[tuple[str, str]]:
    return list(combinations(which, 2))


def heights(which: Sequence[str] = ALL, change: Callable[[float], float] = lambda z: z) -> str:
    return "point,height\n" + "".join(f"{n},{change(place(n)[2])}\n" for n in which)


def levels(which: Sequence[str] = ALL) -> str:
    ties = pairwise(which)
    return "from,to,rise\n" + "".join(f"{a},{b},{place(b)[2] - place(a)[2]}\n" for a, b in ties)


def marks(which: Sequence[str] = ALL, change: Callable[[Place], Place] = lambda p: p, sd: str = "") -> str:
    rows = [(n, *change(place(n))[:2], sd) for n in which]
    return "point,along,across,sd\n" + "".join(f"{n},{x},{y},{s}\n" for n, x, y, s in rows)


def xyz(
    which: Sequence[str] = ALL, change: Callable[[Place], Place] = lambda p: p, *, setup: str = "a", sd: str = ""
) -> str:
    rows = [(setup, n, *change(place(n)), sd) for n in which]
    return "setup,point,x,y,z,sd\n" + "".join(",".join(map(str, row)) + "\n" for row in rows)


def body(table: str) -> str:
    """The rows of a table without its header."""
    return table.partition("\n")[2]


def sound() -> Files:
    """A job that can be judged: every floor tape, every height."""
    return job(tape=lengths(every()), heights=heights())


def job(points_csv: str | None = None, toml: str | None = None, **tables: str) -> Files:
    files: Files = {"job.toml": toml or job_toml(), "points.csv": points_csv or points()}
    return files | {f"before/{name}.csv": text for name, text in tables.items()}


def write(folder: Path, files: Files) -> Path:
    (folder / "before").mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder


def snapshot(folder: Path) -> dict[str, str]:
    """Every path in a folder with a digest of what it holds: nothing may be changed, added or lost."""
    seen = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        try:
            seen[name] = hashlib.sha256(path.read_bytes()).hexdigest()
        except OSError as cannot:
            seen[name] = type(cannot).__name__
    return seen
