"""Every page that a person can reach, as addresses for the walks: screenshots, axe, widths, weights."""

from __future__ import annotations

from dataclasses import dataclass

from registry.models import Design, Organisation, Sheet


@dataclass(frozen=True)
class Page:
    """who: "guest", "contributor" or "moderator"."""

    name: str
    path: str
    who: str = "guest"


def all_pages() -> list[Page]:
    """Of a database with the demo in it; asked for in the process that may query it."""
    charted = Design.objects.filter(current_chart__isnull=False).order_by("name")
    design = charted.exclude(connector__common=None).first()
    paired = charted.filter(connector__common=None).first()
    assert design is not None, "no design with a common and a chart"
    at = f"/designs/{design.uuid}/"
    number = design.current_chart.revision.number
    position = design.positions.first()
    pins = [pin for pin in design.connector.pins.all() if pin.pk != design.connector.common_id]
    assert position is not None
    cell = f"?position={position.label}&pin={pins[0].label}&against={design.connector.common.label}"
    sheet = Sheet.objects.filter(contributor__user__email__startswith="contributor@").first()
    fleet = Organisation.objects.get(memberships__user__email__startswith="contributor@")
    vehicle = fleet.vehicles.first()
    assert vehicle is not None
    pages = [
        Page("front", "/"),
        Page("search", "/designs/"),
        Page("search-shape", "/designs/?q=six+pins"),
        Page("search-none", "/designs/?q=nothing+fits+this"),
        Page("design", at),
        Page("cell", at + cell),
        Page("revision", f"{at}revisions/{number}/"),
        Page("compare", f"{at}compare/"),
        Page("check", "/check/"),
        Page("check-design", f"{at}check/"),
        Page("life", f"{at}life/?at=90000&planned=300&breakdown=2500"),
        Page("reporting", "/account/own/reporting/", "contributor"),
        Page("preparation", f"{at}preparation/"),
        Page("preparation-answer", f"{at}preparation/?ask=tool#answer", "contributor"),
        Page("identify", "/identify/"),
        Page("before-pulling", "/before-pulling/?symptom=silent"),
        Page("cautions", "/cautions/"),
        Page("wanted", "/wanted/"),
        Page("offline", "/offline/"),
        Page("about", "/about/"),
        Page("open-data", "/open-data/"),
        Page("kept", "/kept/"),
        Page("sign-in", "/account/login/"),
        Page("sign-up", "/account/signup/"),
        Page("forgotten-password", "/account/password/reset/"),
        Page("not-found", "/nothing-here/"),
        Page("front-signed-in", "/", "contributor"),
        Page("bench", f"{at}bench/", "contributor"),
        Page("bench-out-and-back", f"{at}bench/?sweeps=2&between=1", "contributor"),
        Page("fleets", "/fleet/", "contributor"),
        Page("fleet", f"/fleet/{fleet.uuid}/", "contributor"),
        Page("fleet-care", f"/fleet/{fleet.uuid}/care/", "contributor"),
        Page("fleet-table", f"/fleet/{fleet.uuid}/vehicles/", "contributor"),
        Page("vehicle", f"/fleet/vehicles/{vehicle.uuid}/", "contributor"),
        Page("my-sheets", "/sheets/", "contributor"),
        Page("my-readings", "/sheets/own/", "contributor"),
        Page("own-pattern", f"/sheets/own/{design.uuid}/", "contributor"),
        Page("matrix", f"{at}matrix/", "contributor"),
        Page("import", f"{at}import/", "contributor"),
        Page("notices", "/notices/", "contributor"),
        Page("dispute-new", f"/disputes/new/design/{design.uuid}/", "contributor"),
        Page("wanted-signed-in", "/wanted/", "contributor"),
        Page("propose", "/designs/propose/", "contributor"),
        Page("account", "/account/own/", "contributor"),
        Page("meters", "/account/own/meters/", "contributor"),
        Page("tokens", "/account/own/tokens/", "contributor"),
        Page("webhooks", "/account/own/webhooks/", "contributor"),
        Page("erase", "/account/own/erase/", "contributor"),
        Page("e-mail", "/account/email/", "contributor"),
        Page("password", "/account/password/change/", "contributor"),
        Page("second-factor", "/account/2fa/", "contributor"),
        Page("sign-out", "/account/logout/", "contributor"),
    ]
    if paired is not None:
        pages.append(Page("design-pairs", f"/designs/{paired.uuid}/"))
        pages.append(Page("bench-pairs", f"/designs/{paired.uuid}/bench/", "contributor"))
    if sheet is not None:
        pages.append(Page("sheet", f"/sheets/{sheet.uuid}/"))
        pages.append(Page("sheet-own", f"/sheets/{sheet.uuid}/", "contributor"))
        pages.append(Page("unit", f"/units/{sheet.unit.uuid}/", "contributor"))
        pages.append(Page("amend", f"/sheets/{sheet.uuid}/amend/", "contributor"))
    return pages
