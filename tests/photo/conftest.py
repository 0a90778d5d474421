"""Nothing found in a test is remembered in the user's own cache, or taken from it."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def cache_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
