"""The drawings of a sheet, in the order in which its content names them."""

from measure.compare.result import Comparison
from measure.paper import Paper
from measure.report import movements, plan
from measure.report.canvas import Kind
from measure.result import Document


def drawn(doc: Document, compared: Comparison | None, kind: Kind, paper: Paper | None) -> list[bytes]:
    """The plan, and what moved where two stages were compared: each the bytes of one sheet of the size of A4.

    `paper`: what each is put on, for its scale; None where nobody knows how large it will be printed.
    """
    made = [plan.drawn(doc, kind, paper)]
    return made if compared is None else [*made, movements.drawn(compared, kind, paper)]
