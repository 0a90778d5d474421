"""The kinds of reading. A further kind is one new file and one line here."""

from measure.readings import heights, levels, marks, tape, targets, xyz
from measure.readings.kind import Kind

KINDS: tuple[Kind, ...] = (tape.KIND, marks.KIND, heights.KIND, levels.KIND, xyz.KIND, targets.KIND)
