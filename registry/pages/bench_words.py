"""The words that the bench sheet's module speaks and shows, in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext as _


def bench_words() -> dict[str, str]:
    """{…} is filled in by the module."""
    return {
        **queue_words(),
        "ask": _("Pin {pin}, {position}"),
        "ask_pair": _("Pins {pin} and {against}, {position}"),
        "ask_between": _("{ask}, then on, before the next detent"),
        "ask_back": _("{ask}, on the way back"),
        "progress": _("{n} of {all}"),
        "open": _("open"),
        "closed": _("closed"),
        "resistive": _("resistive"),
        "range": _("wandered"),
        "not_taken": _("not taken"),
        "refused": _("“{text}” is not a resistance. Write 1.2k, 4R7, 0.8 MΩ or OL."),
        "ambiguous": _("“{text}”: 1.2 or 1200? Write it with a point, or without a mark."),
        "other_lead": _("Other lead on pin {against}, the common."),
        "other_lead_pair": _("Other lead on pin {against}."),
        "next_pin": _("Move the lead to pin {pin}."),
        "go_on": _("A sheet of {when} is on this device: {n} of {all} readings. Go on with it?"),
        "no_network": _(
            "No network: how it compares can't be shown now. You can send it as it is; it goes out by itself."
        ),
        "kept": _("Kept on this device."),
        "not_kept": _("This browser keeps nothing on the device; don't close the page before you send it."),
        "pictures_not_kept": _(
            "The pictures can't be kept on this device: add them on the page of the sheet once it is sent."
        ),
        "another": _("Read another unit"),
        "other_page": _(
            "This device doesn't keep the page for this way of reading. Open it again with a network."
        ),
        "discard_sure": _("Throw away {n} readings?"),
    }


def queue_words() -> dict[str, str]:
    """What is said of a sheet that waits on the device."""
    return {
        "waiting": _("Not sent yet: no network. It is kept on this device and goes out by itself."),
        "waits_sign_in": _("Not sent yet: sign in again, then it goes out by itself."),
        "refused_sheet": _("The registry refuses this sheet as it is. Open it and put right what it names."),
        "sent": _("Sent."),
    }
