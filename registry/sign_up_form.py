"""The sign-up form: a block of addresses makes so many accounts a day."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.forms import SignupForm
from allauth.core import context
from django.contrib.auth import get_user_model
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from registry.services.sign_ups import sign_up_allowed
from registry.translation import gettext as _


class SignUpForm(SignupForm):
    def clean(self) -> dict[str, Any]:
        """Counted whether or not the address is known here: what is refused says nothing of it.

        A form that comes back for a mistake in typing made no account: it is not counted.
        """
        cleaned: dict[str, Any] = super().clean()
        request = context.request
        if self.errors or request is None:
            return cleaned
        if not sign_up_allowed(address=get_adapter().get_client_ip(request)):
            raise ValidationError(_("Many accounts were made from near you today. Try again tomorrow."))
        return cleaned

    def try_save(self, request: HttpRequest) -> Any:
        """Where the address is known no account is made; that it is shows by no quicker answer either."""
        if self.account_already_exists:
            get_user_model()().set_password(self.cleaned_data.get("password1"))
        return super().try_save(request)
