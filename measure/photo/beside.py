"""A process beside this one that looks through pictures too.

Threads would do, were it not that each of the many small steps of a search wants the interpreter: two threads of one
process wait for each other, two processes do not.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from measure.photo.picture import Exif, Picture, PictureError
from measure.photo.target_image import TargetImage, from_rows, to_rows

Look = Callable[[Picture], list[TargetImage]]

_PROGRAM = (
    "import json, sys; sys.path[:] = json.loads(sys.stdin.readline()); "
    "from measure.photo import beside, find; beside.answer(find.look)"
)


class Beside:
    """One such process: begun with its first picture, ended by `close`. Not for two threads at a time."""

    def __init__(self, look: Look) -> None:
        """`look` does what the process does, in this one, should the process end before its time."""
        self._look = look
        self._process: subprocess.Popen[str] | None = None

    def look(self, picture: Picture) -> list[TargetImage]:
        """The targets of a picture. Raises what `look` raises."""
        try:
            answer = self._asked(asdict(picture))
            if "targets" in answer:
                return from_rows(answer["targets"])
            problem = PictureError(answer["found"], answer["would_do"])
        except (OSError, ValueError):  # it could not be begun, or was ended from outside
            return self._look(picture)
        raise problem

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()  # it holds nothing that would be lost
            self._process.communicate()

    def _asked(self, question: dict[str, object]) -> dict[str, str]:
        """Raises OSError or ValueError where there is no answer."""
        if self._process is None:
            # in a session of its own: Ctrl+C is for the one who asks
            self._process = subprocess.Popen(
                [sys.executable, "-c", _PROGRAM], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL, encoding="utf-8", start_new_session=True,
            )  # fmt: skip
            self._say(sys.path)
        self._say(question)
        assert self._process.stdout is not None
        answer: dict[str, str] = json.loads(self._process.stdout.readline())
        return answer

    def _say(self, what: object) -> None:
        assert self._process is not None and self._process.stdin is not None
        self._process.stdin.write(json.dumps(what, default=str) + "\n")
        self._process.stdin.flush()


def answer(look: Look) -> None:
    """Runs in the process: a picture a line on its input, its targets or what is wrong with it a line on its output."""
    for line in sys.stdin:
        asked = json.loads(line)
        picture = Picture(**{**asked, "path": Path(asked["path"]), "exif": Exif(**asked["exif"])})
        try:
            said: dict[str, object] = {"targets": to_rows(look(picture))}
        except PictureError as problem:
            said = {"found": problem.found, "would_do": problem.would_do}
        print(json.dumps(said), flush=True)
