"""Progress on a terminal only."""

from __future__ import annotations

import pytest

from registry.commands.output import ProgressLine


def test_progress_is_silent_where_nobody_looks(capsys: pytest.CaptureFixture[str]) -> None:
    line = ProgressLine("reading")
    line(0.5)
    line.close()
    assert capsys.readouterr().err == ""


def test_progress_is_written_over_on_a_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    line = ProgressLine("reading")
    for share in (0.0, 0.001, 0.5, 1.0):
        line(share)
    line.close()
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "\rreading   0 %\rreading  50 %\rreading 100 %\r             \r"
