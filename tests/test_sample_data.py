"""The sample data in the tree is what its maker writes."""

from pathlib import Path

from tests.make_sample_data import SAMPLE_DATA, main


def test_sample_data_is_what_the_script_writes(tmp_path: Path) -> None:
    main(tmp_path)
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*.*")}
    assert len(made) >= 12
    for name, data in made.items():
        assert (SAMPLE_DATA / name).read_bytes() == data, f"{name}: run python -m tests.make_sample_data"
