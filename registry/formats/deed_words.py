"""What an account did, in words, from the actions of the log."""

from __future__ import annotations

from collections.abc import Callable

from registry.formats.decision_words import kind_words
from registry.translation import gettext as _

DECIDE = "decide_"
DEEDS: dict[str, Callable[[], str]] = {
    "account_erase": lambda: _("erased the account"),
    "decision_agree": lambda: _("let a waiting decision take force"),
    "decision_approve": lambda: _("agreed to a decision as the second moderator"),
    "decision_in_force": lambda: _("a decision of theirs took force"),
    "decision_lapsed": lambda: _("a decision lapsed"),
    "decision_refused": lambda: _("refused a decision"),
    "decision_undone": lambda: _("took a decision back"),
    "decision_waits_anew": lambda: _("a decision waited for another second voice"),
    "design_propose": lambda: _("proposed a design"),
    "dispute_open": lambda: _("opened a dispute"),
    "dispute_take_back": lambda: _("took a dispute back"),
    "dispute_write": lambda: _("wrote in a dispute"),
    "fact_answer": lambda: _("answered a question on a job"),
    "fact_take_back": lambda: _("took an answer back"),
    "feed_make": lambda: _("made a calendar address of the fleet"),
    "feed_withdraw": lambda: _("withdrew the calendar address of the fleet"),
    "fleet_confirm": lambda: _("confirmed that a workshop reports all its units"),
    "fleet_end": lambda: _("ended a workshop's word that it reports all its units"),
    "fleet_say": lambda: _("said that the workshop reports all its units"),
    "import": lambda: _("loaded sheets from a file"),
    "invitation_agree": lambda: _("agreed to an invitation as the second moderator"),
    "invitation_make": lambda: _("made an invitation"),
    "invitation_take": lambda: _("took an invitation up"),
    "invitation_withdraw": lambda: _("withdrew an invitation"),
    "member_invite": lambda: _("invited somebody into the fleet"),
    "member_join": lambda: _("joined a fleet"),
    "member_set": lambda: _("changed what a member of the fleet may do"),
    "organisation_leave": lambda: _("left a fleet"),
    "organisation_make": lambda: _("set up a fleet"),
    "organisation_set": lambda: _("changed the policy of a fleet"),
    "outcome_send": lambda: _("gave a job's outcome to the registry"),
    "outcome_take_back": lambda: _("took a job's outcome back"),
    "package_load": lambda: _("loaded an open-data package"),
    "picture_add": lambda: _("added a picture"),
    "picture_remove": lambda: _("removed a picture"),
    "refresh_retry": lambda: _("had a chart computed again"),
    "revision_publish": lambda: _("a chart was published"),
    "sheet_amend": lambda: _("amended a sheet"),
    "sheet_restore": lambda: _("put a withdrawn sheet back"),
    "sheet_submit": lambda: _("sent a sheet"),
    "sheet_withdraw": lambda: _("withdrew a sheet"),
    "sheets_submit": lambda: _("sent several sheets at once"),
    "token_make": lambda: _("made a token"),
    "token_revoke": lambda: _("revoked a token"),
    "unit_event": lambda: _("told what became of a unit"),
    "unit_event_take_back": lambda: _("took back what became of a unit"),
    "unit_fit": lambda: _("put a unit into a vehicle"),
    "unit_remove": lambda: _("took a unit out of a vehicle"),
    "unit_same": lambda: _("said that two units are one"),
    "unit_same_take_back": lambda: _("took back that two units are one"),
    "vehicle_add": lambda: _("added a vehicle"),
    "vehicle_retire": lambda: _("took a vehicle out of service or put it back"),
    "webhook_end": lambda: _("ended a webhook"),
    "webhook_make": lambda: _("made a webhook"),
    "webhook_replay": lambda: _("had a webhook's deliveries sent again"),
    "webhook_secret": lambda: _("made a new secret for a webhook"),
    "workshop_join": lambda: _("joined a workshop"),
}


def deed_words(action: str) -> str:
    """An action that is not known, of another version's log, stays as it is.

    >>> deed_words("vehicle_add"), deed_words("decide_set_aside"), deed_words("of_another_version")
    ('added a vehicle', 'decided: set aside', 'of_another_version')
    """
    if action.startswith(DECIDE):
        return _("decided: {what}").format(what=kind_words(action.removeprefix(DECIDE)))
    return DEEDS[action]() if action in DEEDS else action
