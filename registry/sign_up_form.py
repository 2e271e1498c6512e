"""The sign-up form: a block of addresses makes so many accounts a day."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.forms import SignupForm
from allauth.core import context
from django.core.exceptions import ValidationError

from registry.services.sign_ups import sign_up_allowed
from registry.translation import gettext as _


class SignUpForm(SignupForm):
    def clean(self) -> dict[str, Any]:
        """Counted whether or not the address is known here: what is refused says nothing of it."""
        cleaned: dict[str, Any] = super().clean()
        request = context.request
        if request is not None and not sign_up_allowed(address=get_adapter().get_client_ip(request)):
            raise ValidationError(_("Many accounts were made from near you today. Try again tomorrow."))
        return cleaned
