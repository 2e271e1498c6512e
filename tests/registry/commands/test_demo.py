from __future__ import annotations

import argparse

import pytest

from registry.commands import demo
from registry.commands.main import main
from registry.models import Design


def test_demo_is_refused_outside_a_demo_before_anything_is_made(db, capsys, settings):
    settings.DEBUG = False
    assert main(["demo", "--no-serve"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and "BENCHQUORUM_DEBUG=1" in err
    assert not Design.objects.exists()


def test_port_comes_from_the_environment(monkeypatch):
    monkeypatch.setenv("PORT", "8765")
    parser = argparse.ArgumentParser()
    demo.add_arguments(parser)
    assert parser.parse_args([]).port == 8765


@pytest.mark.django_db
def test_demo_prints_three_sign_ins(capsys, settings, tmp_path):
    settings.DEBUG = True
    assert main(["demo", "--no-serve"]) == 0
    out = capsys.readouterr().out
    assert [role for role in ("contributor", "technician", "moderator") if f"  {role}" in out] == [
        "contributor",
        "technician",
        "moderator",
    ]
    assert "146 sheets added" in out
