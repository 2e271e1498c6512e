"""Whatever is done in any order: no reading lost, charts as computed afresh, undo exact, no own cases."""

from __future__ import annotations

import os
from datetime import timedelta
from typing import Any

import hypothesis.strategies as st
import pytest
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from registry.errors import RegistryErrors
from registry.models import ChartRevision, Contributor, Decision, Design, Dispute, Reading, Sheet, User
from registry.selectors.evidence import Overlays, canonical, design_inputs, digest_of
from registry.services.catalogue import design_propose
from registry.services.charts import chart_content, frozen_inputs
from registry.services.decisions import approve, decide, undo
from registry.services.disputes import dispute_open, dispute_take_back
from registry.services.due_decisions import apply_due
from registry.services.sheets import sheet_amend, sheet_restore, sheet_withdraw
from registry.services.snapshots import snapshot_in_force
from tests.registry.moderation.made import account, design_json, made_sheet, newest, sheet_json

pytestmark = pytest.mark.django_db
GOOD = {
    ("P", "2"): "0.4",
    ("P", "3"): "OL",
    ("P", "4"): "OL",
    ("R", "2"): "OL",
    ("R", "3"): "0.4",
    ("R", "4"): "0.4",
}
MIRRORED = {(position, {"2": "4", "3": "3", "4": "2"}[pin]): text for (position, pin), text in GOOD.items()}
ODD = {place: "OL" if text == "0.4" else "0.4" for place, text in GOOD.items()}
PATTERNS = st.sampled_from([GOOD, GOOD, GOOD, MIRRORED, ODD])
N = st.integers(min_value=0, max_value=10**6)
SHEET_KINDS = st.sampled_from(["keep", "set_aside", "correct", "move"])
LINES = {"kind": "mirrored_pins", "detail": "lines", "pins": [], "positions": []}


class Machine(RuleBasedStateMachine):
    """People in three workshops, moderators of whom one is a colleague of two contributors, two designs."""

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.readings: dict[int, tuple[Any, ...]] = {}

    def teardown(self) -> None:
        try:
            if getattr(self, "designs", None):
                self.undo_everything()
        finally:
            transaction.set_rollback(True)
            self.atomic.__exit__(None, None, None)

    @initialize()
    def people(self) -> None:
        yards = ("west yard", "west yard", "east yard", "pier")
        self.people = [account(f"reader{n}", workshop=yard) for n, yard in enumerate(yards)]
        self.moderators = [
            account("colleague", workshop="west yard", moderator=True),
            account("stranger", moderator=True),
            account("other", workshop="office", moderator=True),
        ]
        labels = [{"label": "P", "releases_starter": True}, {"label": "R"}]
        self.designs = [
            design_propose(
                by=self.people[0], body=design_json(name, positions=labels, pins=["1", "2", "3", "4"])
            )
            for name in ("Ferry 12", "Ferry 13")
        ]
        for person in self.people[1:]:
            made_sheet(person, self.designs[0], GOOD)

    # --- contributors

    @rule(who=N, where=N, pattern=PATTERNS)
    def submit(self, who: int, where: int, pattern: dict[tuple[str, str], str]) -> None:
        person = self.people[who % len(self.people)]
        person.refresh_from_db()
        if person.suspended_at is None:
            made_sheet(person, self.designs[where % 2], pattern)

    @rule(which=N, pattern=PATTERNS)
    def amend(self, which: int, pattern: dict[tuple[str, str], str]) -> None:
        sheet = self.pick(Sheet.objects.all(), which)
        version = sheet.versions.get(is_current=True)
        body = sheet_json(sheet.design, pattern, unit={"key": sheet.unit.key})
        self.as_owner(sheet, lambda by: sheet_amend(by=by, sheet=sheet, on_version=version.number, body=body,
                                                    reason="Read again."))  # fmt: skip

    @rule(which=N)
    def withdraw_or_restore(self, which: int) -> None:
        sheet = self.pick(Sheet.objects.all(), which)
        if sheet.withdrawn_at is None:
            self.as_owner(sheet, lambda by: sheet_withdraw(by=by, sheet=sheet, reason="Wrong shelf."))
        else:
            self.as_owner(sheet, lambda by: sheet_restore(by=by, sheet=sheet))

    @rule(who=N, which=N, cell=st.booleans())
    def dispute(self, who: int, which: int, cell: bool) -> None:
        person = [*self.people, *self.moderators][who % 7]
        sheet = self.pick(Sheet.objects.all(), which)
        place = {"position": "R", "pin": "3", "against": "1"}
        about = {"target_kind": "cell", "target_uuid": sheet.design.uuid, "target_cell": place}
        if not cell:
            about = {"target_kind": "sheet", "target_uuid": sheet.uuid}
        self.allowed(lambda: dispute_open(by=person, reason="Mine differs.", **about))

    @rule(which=N)
    def take_back(self, which: int) -> None:
        open_ones = Dispute.objects.filter(state="open").order_by("pk")
        if open_ones:
            dispute = self.pick(open_ones, which)
            dispute_take_back(by=dispute.opened_by, dispute=dispute)

    # --- moderators

    @rule(who=N, which=N, kind=SHEET_KINDS, at_once=st.booleans())
    def decide_sheet(self, who: int, which: int, kind: str, at_once: bool) -> None:
        sheet = self.pick(Sheet.objects.all(), which)
        payload = {"correct": {"correction": LINES}, "move": {"design": str(self.designs[1].uuid)}}
        self.decided(who, "sheet", sheet.uuid, kind, payload.get(kind, {}), [sheet.contributor], at_once)

    @rule(who=N, which=N, kind=st.sampled_from(["suspend", "set_aside_account"]), at_once=st.booleans())
    def decide_account(self, who: int, which: int, kind: str, at_once: bool) -> None:
        person = self.people[which % len(self.people)].contributor
        self.decided(who, "account", person.uuid, kind, {}, [person], at_once)

    @rule(who=N, back=st.booleans(), at_once=st.booleans())
    def merge(self, who: int, back: bool, at_once: bool) -> None:
        source, there = self.designs[::-1] if back else self.designs
        self.decided(who, "design", source.uuid, "merge_designs", {"design": str(there.uuid)}, [], at_once)

    @rule(who=N, which=N, name=st.sampled_from(["Ferry A", "Ferry B"]), at_once=st.booleans())
    def edit(self, who: int, which: int, name: str, at_once: bool) -> None:
        design = self.designs[which % 2]
        design.refresh_from_db()
        changes = {"on_edit": design.edit_number, "set": [[["name"], f"{name} {which % 2}"]]}
        self.decided(who, "design", design.uuid, "edit_design", changes, [], at_once)

    @rule(who=N, which=N, kind=st.sampled_from(["publish", "hold", "withdraw_revision"]))
    def decide_revision(self, who: int, which: int, kind: str) -> None:
        revision = newest(self.designs[which % 2])
        if revision is not None:
            by = self.moderators[who % 3]
            self.allowed(lambda: decide(by=by, kind=kind, target_kind="revision", target_uuid=revision.uuid,
                                        reason="So."))  # fmt: skip

    @rule(who=N, which=N)
    def second_voice(self, who: int, which: int) -> None:
        waiting = Decision.objects.filter(state="waiting", needs_second=True, approver=None).order_by("pk")
        if waiting:
            decision, by = self.pick(waiting, which), self.moderators[who % 3]
            done = self.allowed(lambda: approve(by=by, decision=decision))
            assert not (done and decision.proposer_id == by.pk)

    @rule(who=N, which=N)
    def undo_one(self, who: int, which: int) -> None:
        standing = Decision.objects.filter(state__in=["in_force", "waiting"]).order_by("pk")
        if standing:
            decision, by = self.pick(standing, which), self.moderators[who % 3]
            self.allowed(lambda: undo(by=by, decision=decision, reason="No."))

    @rule(days=st.integers(min_value=1, max_value=20))
    def time_passes(self, days: int) -> None:
        apply_due(now=timezone.now() + timedelta(days=days))

    # --- what always holds

    @invariant()
    def no_reading_is_lost(self) -> None:
        fields = ("as_typed", "kind", "low_ohm", "place_id", "version_id", "first_pass")
        now = {row[0]: row[1:] for row in Reading.objects.values_list("pk", *fields)}
        assert self.readings.items() <= now.items()
        self.readings = now

    @invariant()
    def charts_are_as_if_computed_afresh(self) -> None:
        for design in Design.objects.filter(merged_into=None):
            assert not design.stale
            revision = newest(design)
            inputs = frozen_inputs(design, snapshot_in_force())
            if revision is None:
                assert not inputs["sheets"]
                continue
            kept = design.revisions.exclude(state="refused").order_by("-number").first()
            afresh = {
                canonical(chart_content({**inputs, "keys": one.inputs["keys"]}, snapshot_in_force()))
                for one in (revision, kept)
                if one is not None
            }
            assert afresh & {bytes(one.content) for one in (revision, kept) if one is not None}

    @invariant()
    def readers_see_a_published_revision(self) -> None:
        for design in Design.objects.filter(current_chart__isnull=False).select_related("current_chart"):
            shown = ChartRevision.objects.get(pk=design.current_chart.revision_id)
            assert shown.state == "published"
            assert not design.revisions.filter(state="published", number__gt=shown.number).exists()

    # --- how it is done

    def pick(self, rows: Any, n: int) -> Any:
        rows = list(rows.order_by("pk"))
        return rows[n % len(rows)]

    def as_owner(self, sheet: Sheet, act: Any) -> None:
        owner = User.objects.get(pk=sheet.contributor.user_id)
        self.allowed(lambda: act(owner))

    def allowed(self, act: Any) -> bool:
        """Whether it was done; refusals are answers, anything else is an error."""
        try:
            with transaction.atomic():
                act()
        except (RegistryErrors, PermissionDenied):
            return False
        return True

    def decided(self, who: int, target: str, uuid: Any, kind: str, payload: dict[str, Any],
                owners: list[Contributor], at_once: bool) -> None:  # fmt: skip
        """Decide; a party must be refused as such; if it took effect at once, undo must be exact."""
        by = self.moderators[who % 3]
        before = self.evidence()
        disputers = Dispute.objects.filter(target_uuid=uuid, target_kind=target, state="open")
        parties = [*owners, *Contributor.objects.filter(user__disputes__in=disputers)]
        own = Contributor.objects.filter(user=by).first()
        is_own = own is not None and any(
            other == own or (other.workshop is not None and other.workshop == own.workshop)
            for other in parties
        )
        about = {"kind": kind, "target_kind": target, "target_uuid": uuid, "payload": payload}
        try:
            with transaction.atomic():
                decision = decide(by=by, reason="So.", **about)
        except PermissionDenied:
            assert is_own
            return
        except RegistryErrors:
            return
        assert not is_own
        if at_once and decision.state == "in_force":
            undone(by, account(f"second{Decision.objects.count()}", moderator=True), decision, "No.")
            assert self.evidence() == before

    def evidence(self) -> dict[str, str]:
        """The digest of what each design's chart is a function of."""
        return {
            str(design.uuid): digest_of(frozen_inputs(design, snapshot_in_force()))
            for design in Design.objects.filter(merged_into=None)
        }

    def undo_everything(self) -> None:
        """The latest first: then nothing lies over the sheets any more, and each design is by itself."""
        neutral, second = account("neutral", moderator=True), account("second", moderator=True)
        standing = Decision.objects.filter(state__in=["in_force", "waiting"]).order_by("-pk")
        for decision in list(standing.exclude(kind="undo", state="in_force")):
            undone(neutral, second, decision, "The end.")
        for design in Design.objects.all():
            assert design.merged_into_id is None
            assert design.name in ("Ferry 12", "Ferry 13")
            assert design_inputs(design) == design_inputs(design, Overlays([]))
        assert not User.objects.exclude(suspended_at=None).exists()
        self.charts_are_as_if_computed_afresh()
        self.readers_see_a_published_revision()


def undone(by: User, second: User, decision: Decision, reason: str) -> None:
    """Taken back, by two where one may not."""
    back = undo(by=by, decision=decision, reason=reason)
    if back.state == "waiting":
        approve(by=second, decision=back)


def test_any_order_of_acts(settings_of_django_for_machine: None) -> None:
    examples = int(os.environ.get("BENCHQUORUM_MACHINE_EXAMPLES", "6"))
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=25,
            deadline=None,
            derandomize=True,
            print_blob=False,
            database=None,
            phases=[Phase.explicit, Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.fixture
def settings_of_django_for_machine(settings: Any) -> None:
    settings.BENCHQUORUM_REPLY_DAYS = 7
