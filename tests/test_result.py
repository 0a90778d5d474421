"""The result document and its JSON."""

import dataclasses
import json

import numpy as np
import pytest

from measure.result import Network, as_json
from tests.documents import check, loose_car, pulled_car

KEYS = {
    "": (
        "job stage units version inputs_sha256 frame plan_only tilt network points readings suspects "
        "centreline checks cautions notes unchecked loose pieces tapes"
    ),
    "tilt": "roll pitch",
    "network": (
        "points readings unknowns defect degrees_of_freedom sigma0 sigma0_low sigma0_high passed scaled sigma0_after"
    ),
    "points": "name x y z sd_x sd_y sd_z cov_xy side pair part",
    "readings": "source kind names value adjusted residual sd redundancy w findable",
    "suspects": "source kind w size hint set_aside cannot_tell_from",
    "centreline": "pairs_used pairs_set_aside ambiguous alternatives yaw_sd_deg offset_sd",
    "checks": "name value unit u95 limit verdict side words budget next single_drops estimable",
}


@pytest.mark.parametrize("where", KEYS)
def test_keys_are_those_of_the_design(where):
    part = json.loads(as_json(pulled_car()))
    if where:
        part = part[where]
    if isinstance(part, list):
        part = part[0]
    assert list(part) == KEYS[where].split()


def test_nested_lists_have_their_keys():
    document = json.loads(as_json(pulled_car()))
    assert list(document["network"]["scaled"][0]) == ["kind", "factor", "degrees_of_freedom"]
    undecided = next(c for c in document["checks"] if c["next"])
    assert list(undecided["next"]) == ["act", "u95", "kind", "names"]
    assert list(undecided["budget"][0]) == ["what", "share"]
    assert list(json.loads(as_json(loose_car()))["loose"][0]) == ["points", "direction", "fix"]


def test_what_is_not_held_is_null_and_never_left_out():
    document = json.loads(as_json(loose_car()))
    tail = next(p for p in document["points"] if p["name"] == "tailR")
    assert tail["x"] is None and tail["sd_z"] is None
    assert document["tilt"] == {"roll": None, "pitch": None}


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf"), np.float64("nan")])
def test_no_figure_that_json_does_not_know(bad):
    document = pulled_car(checks=[check("rails.taper", bad)])
    assert json.loads(as_json(document))["checks"][0]["value"] is None
    assert "NaN" not in as_json(document) and "Infinity" not in as_json(document)


def test_numpy_scalars_are_plain_figures():
    network = Network(np.int64(3), 4, 5, 6, 7, np.float32(0.5), None, None, np.bool_(True))
    written = json.loads(as_json(pulled_car(network=network)))["network"]
    assert (written["points"], written["sigma0"], written["passed"]) == (3, 0.5, True)


def test_minus_nought_has_no_side():
    assert '"value": 0.0,' in as_json(pulled_car(checks=[check("rails.taper", -0.0)]))


def test_the_same_document_gives_the_same_bytes():
    assert as_json(pulled_car()) == as_json(pulled_car())
    assert as_json(pulled_car()).endswith("}\n")


def test_names_keep_their_letters():
    assert "Bench coupé" in as_json(pulled_car())


def test_the_last_bits_do_not_show():
    one, other = 0.1 + 0.2, 0.3
    assert one != other
    assert as_json(pulled_car(checks=[check("a.b", one, words="", side="")])) == as_json(
        pulled_car(checks=[check("a.b", other, words="", side="")])
    )


def test_what_is_no_figure_is_refused():
    with pytest.raises(TypeError, match="cannot hold a set"):
        as_json(pulled_car(notes={"a"}))


def test_the_document_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        pulled_car().job = "another"
