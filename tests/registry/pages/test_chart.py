"""The chart's page: states by word and drawing, counts, standing; revisions at their own addresses."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from registry.models import ChartRevision, Design
from registry.pages.certainty import how_sure, what_would_help
from registry.pages.pattern import Shape, pattern_tables
from registry.pages.strip_plot import LEFT, RIGHT, strip_plot
from tests.registry.pages.made import account, made_sheet, readings


@pytest.fixture
def page(client: Client, design: Design) -> Callable[..., str]:
    def get(path: str = "", status: int = 200) -> str:
        answer = client.get(f"/designs/{design.uuid}/{path}")
        assert answer.status_code == status
        return answer.content.decode()

    return get


def test_design_without_a_chart_says_what_will_be_here(page: Callable[..., str]) -> None:
    text = page()
    assert "No unit has been read yet." in text
    assert "You look into the switch. Rib above pin 1." in text


def test_cell_has_drawing_word_figure_standing_and_count(
    page: Callable[..., str], evidence: Callable[..., None]
) -> None:
    evidence(6)
    text = page()
    assert (
        '<a class="cell agreed" href="?position=R&amp;pin=4&amp;against=1#readings">'
        '<svg class="contact" aria-hidden="true"><use href="#contact-closed"/></svg>'
        '<span class="word">closed</span> <span>0.4 Ω</span> <small class="standing">agreed</small>'
        " <small>6 of 6 units</small></a>"
    ) in text
    assert '<symbol id="contact-closed"' in text
    assert "All 25 cells read are agreed: 6 units, 6 people." in text


def test_few_units_are_said_to_be_few(page: Callable[..., str], evidence: Callable[..., None]) -> None:
    evidence(4)
    text = page("?position=R&pin=4&against=1")
    assert "That is not many: the true share could be as low as 40 %." in text


def test_readings_of_a_cell_are_drawn_and_written(
    page: Callable[..., str], evidence: Callable[..., None]
) -> None:
    evidence(4)
    text = page("?position=R&pin=1&against=4")  # whichever lead was where
    assert "Readings of pin 4 in R" in text
    assert text.count('<circle class="dot"') == 4
    assert "4 readings in figures" in text


def test_withdrawn_revision_says_so_at_its_own_address(
    page: Callable[..., str], evidence: Callable[..., None]
) -> None:
    evidence(4)
    ChartRevision.objects.update(
        state="withdrawn", withdrawn_at=timezone.now(), withdrawn_reason="two designs were mixed"
    )
    text = page("revisions/1/")
    assert "This revision was withdrawn" in text
    assert "two designs were mixed" in text


def test_held_revision_is_not_shown(page: Callable[..., str], evidence: Callable[..., None]) -> None:
    evidence(4)
    shown = ChartRevision.objects.get(number=1)
    ChartRevision.objects.create(
        design=shown.design,
        number=2,
        digest="0" * 64,
        content=shown.content,
        content_sha256="0" * 64,
        inputs={},
        state="held",
    )
    assert "waits for a moderator" in page()
    page("revisions/2/", status=404)


def test_two_revisions_are_compared_place_by_place(
    page: Callable[..., str], design: Design, evidence: Callable[..., None], committed: Any
) -> None:
    evidence(4)
    with committed():
        made_sheet(account("late", "Quay"), design, "late one", readings=readings(R4="OL"))
    text = page("compare/?from=1&to=2")
    assert "pin 4 in R" in text
    assert "4 of 4 units" in text
    assert "4 of 5 units" in text
    assert "Nothing that a reader sees changed." in page("compare/?from=2&to=2")


def test_qr_of_a_revision_is_an_image(client: Client, design: Design) -> None:
    answer = client.get(f"/designs/{design.uuid}/revisions/1/qr.svg")
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer.content.startswith(b'<svg xmlns="http://www.w3.org/2000/svg"')


def cell(position: str, pin: str, against: str = "1", **more: Any) -> dict[str, Any]:
    plain = {"position": position, "pin": pin, "against": against, "between": False, "state": "closed"}
    return {**plain, "standing": "provisional", "units": 4, "agreeing": 4, "contributors": 2, **more}


def shape(**more: Any) -> Shape:
    plain = {"positions": ["P", "R"], "pins": ["1", "2", "3"], "common": "1", "names": {"R": "reverse"}}
    return Shape(**{**plain, "starts": frozenset("P"), "lines": {}, **more})


def test_positions_run_down_and_pins_across_in_connector_order() -> None:
    tables = pattern_tables(shape(pins=["3", "1", "2"]), [cell("R", "2"), cell("P", "1", "3")])
    assert [heading.text for heading in tables[0].columns] == ["Pin 3", "Pin 2"]
    assert [row.heading.text for row in tables[0].rows] == ["P", "R"]
    assert tables[0].rows[0].cells == [cell("P", "1", "3"), None]
    assert tables[0].rows[0].heading.note == "releases the starter"


def test_readings_between_detents_have_rows_of_their_own() -> None:
    (table,) = pattern_tables(shape(), [cell("P", "2"), cell("P", "2", between=True)])
    assert [(row.heading.text, row.gap) for row in table.rows] == [
        ("P", False), ("behind P", True), ("R", False),
    ]  # fmt: skip


def test_pairs_without_a_common_are_a_list_of_pairs() -> None:
    (table,) = pattern_tables(shape(common=None), [cell("P", "3", "2"), cell("R", "1", "2")])
    assert [row.heading.text for row in table.rows] == ["1 and 2", "2 and 3"]
    assert [heading.text for heading in table.columns] == ["P", "R"]


def variant(*cells: dict[str, Any]) -> dict[str, Any]:
    return {"cells": list(cells), "units": 4, "contributors": 2}


def test_certainty_names_what_is_missing() -> None:
    mixed = variant(cell("P", "2"), cell("R", "2", standing="agreed"), cell("R", "3", standing="disputed"))
    assert how_sure(mixed) == "1 of 3 cells agreed, 1 disputed and 1 provisional: 4 units, 2 people."
    assert what_would_help(mixed, "1").startswith("Disputed: pin 3 in R.")
    assert what_would_help(variant(cell("P", "2")), "1") == (
        "1 more unit that agrees, read by 1 more person of another workshop, would make it all agreed."
    )
    assert what_would_help(variant(cell("P", "2", standing="agreed")), "1") == ""


class Typed:
    """A reading as the plot sees it."""

    def __init__(self, kind: str, low: float | None = None, high: float | None = None) -> None:
        self.kind, self.low_ohm, self.high_ohm = kind, low, low if high is None else high
        self.lead_ohm, self.limit_ohm, self.as_typed = 0.2, 2e7, "as typed"


def test_strip_plot_places_figures_on_a_log_axis() -> None:
    plot = strip_plot([Typed("value", 1.2), Typed("value", 10.2), Typed("value", 100.2)], "closed", None)
    one, ten, hundred = (dot.x for dot in plot.dots)
    assert ten - one == pytest.approx(hundred - ten, abs=0.2)  # equal ratios, equal steps
    assert [dot.unlike for dot in plot.dots] == [False, False, True]


def test_strip_plot_puts_over_limits_and_buzzers_off_the_axis() -> None:
    plot = strip_plot([Typed("over_limit"), Typed("continuity"), Typed("value", 0.6)], "closed", [0.0, 2.1])
    over, buzzer, _figure = plot.dots
    assert over.x > RIGHT and over.unlike
    assert buzzer.x < LEFT and not buzzer.unlike
    assert plot.band is not None and plot.band[0] == LEFT


def test_chart_is_offered_as_json(
    page: Callable[..., str], client: Client, evidence: Any, design: Design
) -> None:
    evidence(4)
    address = f"/api/v1/charts/{design.uuid}/revisions/1/"
    assert f'href="{address}"' in page()
    assert json.loads(client.get(address).content)


def test_guests_page_is_kept_and_a_new_revision_is_seen_at_once(
    page: Callable[..., str], design: Design, evidence: Any, committed: Any, django_assert_num_queries: Any
) -> None:
    evidence(4)
    before = page()
    with django_assert_num_queries(1):
        assert page() == before
    with committed():
        made_sheet(account("late", "Quay"), design, "late one")
    assert "5 units, 5 people" in page()
    ChartRevision.objects.filter(number=2).update(
        state="withdrawn", withdrawn_at=timezone.now(), withdrawn_reason="mixed up"
    )
    assert "This revision was withdrawn" in page()


def test_kept_page_is_for_guests_alone(client: Client, design: Design, reader: Any, evidence: Any) -> None:
    evidence(4)
    assert "Follow its changes" not in client.get(f"/designs/{design.uuid}/").content.decode()
    client.force_login(reader)
    assert "Follow its changes" in client.get(f"/designs/{design.uuid}/").content.decode()
    client.logout()
    assert "Follow its changes" not in client.get(f"/designs/{design.uuid}/").content.decode()
