"""`benchquorum export --life`: every unit over time in the tidy form, with who reports and the caution."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.cache import cache

from registry.commands.main import main
from registry.formats.life_table import read_life
from tests.registry.pages.lives import made_lives
from tests.registry.pages.made import account, made_design


@pytest.mark.django_db
def test_what_is_exported_is_read_again_and_carries_its_caution(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cache.clear()
    me = account("me", "Yard 1")
    made_lives(me, made_design(me, "First"), 3, 12)
    made_lives(me, made_design(me, "Second"), 4, 14)
    path, again = tmp_path / "units.csv", tmp_path / "again.csv"
    assert main(["export", "--life", str(path)]) == 0
    assert "brought in more often" in capsys.readouterr().err
    table = read_life(path)
    assert (table.designs, len(table)) == (("First", "Second"), 26)
    assert "brought in more often" in path.read_text().splitlines()[1]
    assert main(["export", "--life", str(again)]) == 0
    assert again.read_bytes() == path.read_bytes()
    assert main(["life", str(path)]) == 0
