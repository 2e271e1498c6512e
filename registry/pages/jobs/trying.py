"""The check after fitting as fields: each position in turn, out and back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.models import Job
from registry.pages.jobs.forms import said
from registry.selectors.jobs import starts_of

Plain = dict[str, Any]


def tries_body(job: Job, data: Any) -> Plain:
    """The body of the check; positions by their step, so that no label has to fit into a field's name."""
    positions = [] if job.design is None else list(job.design.positions.all())
    rows = [
        {
            "position": position.label,
            "starter": said(data, f"s-{position.step}"),
            "shown_out": said(data, f"o-{position.step}"),
            "shown_back": said(data, f"b-{position.step}"),
        }
        for position in positions
    ]
    return {
        "ready": data.getlist("ready"),
        "positions": rows,
        "codes": said(data, "codes"),
        "start_positions": [p.label for p in positions if said(data, f"m-{p.step}")],
    }


def tries_shown(job: Job, data: Mapping[str, Any]) -> list[Plain]:
    """For the template: a position with what was chosen for it so far."""
    starts = starts_of(job)
    return [
        {
            "position": position,
            "may_start": starts is not None and position.label in starts,
            "known": starts is not None,
            "maker": said(data, f"m-{position.step}"),
            "starter": said(data, f"s-{position.step}"),
            "out": said(data, f"o-{position.step}"),
            "back": said(data, f"b-{position.step}"),
        }
        for position in ([] if job.design is None else job.design.positions.all())
    ]
