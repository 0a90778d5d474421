"""The drawings of a sheet, in the order in which its content names them."""

from measure.compare.result import Comparison
from measure.report import movements, plan
from measure.report.canvas import Kind
from measure.result import Document


def drawn(doc: Document, compared: Comparison | None, kind: Kind) -> list[bytes]:
    """The plan, and what moved where two stages were compared: each the bytes of one A4 sheet."""
    made = [plan.drawn(doc, kind)]
    return made if compared is None else [*made, movements.drawn(compared, kind)]
