"""Every page that a person can reach, as addresses for the walks: screenshots, axe, widths, weights."""

from __future__ import annotations

from dataclasses import dataclass

from registry.models import Contributor, Design, Job, Organisation, Sheet
from registry.models.jobs import JobStep
from registry.selectors.queue import queue


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
        Page("signed-in", "/account/sessions/", "contributor"),
        Page("security-keys", "/account/2fa/webauthn/", "contributor"),
        Page("confirm-access", "/account/2fa/webauthn/add/", "contributor"),
        Page("jobs", "/jobs/", "contributor"),
        Page("job-new", "/jobs/new/", "contributor"),
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
    return [*pages, *fleet_pages(), *job_pages(), *desk_pages(design)]


def fleet_pages() -> list[Page]:
    fleet = Organisation.objects.filter(memberships__user__email__startswith="contributor@").first()
    if fleet is None:
        return []
    pages = [
        Page("fleet", f"/fleet/{fleet.uuid}/", "contributor"),
        Page("fleet-care", f"/fleet/{fleet.uuid}/care/", "contributor"),
        Page("fleet-table", f"/fleet/{fleet.uuid}/vehicles/", "contributor"),
    ]
    vehicle = fleet.vehicles.first()
    return [
        *pages,
        *([Page("vehicle", f"/fleet/vehicles/{vehicle.uuid}/", "contributor")] if vehicle else []),
    ]


def job_pages() -> list[Page]:
    """The latest job, and each of its steps."""
    job = Job.objects.filter(contributor__user__email__startswith="contributor@").order_by("-pk").first()
    if job is None:
        return []
    at = f"/jobs/{job.uuid}/"
    steps = [Page(f"job-{step}", f"{at}steps/{step}/", "contributor") for step in JobStep.values]
    return [Page("job", at, "contributor"), Page("job-identify", f"{at}identify/", "contributor"), *steps]


def desk_pages(design: Design) -> list[Page]:
    """The moderators' desk, with a case of each kind that waits."""
    cases = {case.kind: case for case in reversed(queue())}
    part = design.part_numbers.first()
    account = Contributor.objects.filter(user__email__startswith="contributor@").first()
    addresses = {
        "desk": "/desk/",
        **{f"desk-{kind}": f"/desk/{kind}/{case.uuid}/" for kind, case in sorted(cases.items())},
        "desk-accounts": "/desk/accounts/",
        "desk-habits": "/desk/habits/?sort=leads",
        "desk-invitations": "/desk/invitations/",
        "desk-catalogue": "/desk/catalogue/",
        "desk-catalogue-design": f"/desk/catalogue/designs/{design.uuid}/",
        "desk-reporting": "/desk/reporting/",
        "desk-log": "/desk/log/",
    }
    if part is not None:
        addresses["desk-part"] = f"/desk/catalogue/parts/{part.uuid}/"
    if account is not None:
        addresses["desk-account"] = f"/desk/accounts/{account.uuid}/"
    return [Page(name, address, "moderator") for name, address in addresses.items()]
