"""Errors of a service laid beside the fields of a form, whatever the body was called inside."""

from __future__ import annotations

from collections.abc import Mapping

from django import forms

from registry.errors import RegistryErrors


def lay_errors(form: forms.Form, errors: RegistryErrors, fields: Mapping[str, str] | None = None) -> None:
    """fields: first part of a JSON Pointer → field of the form, where they differ."""
    form.is_valid()
    for error in errors:
        parts = error.field.split("/")
        part = parts[1] if len(parts) > 1 else ""
        name = (fields or {}).get(part, part)
        row = f"{int(parts[2]) + 1}: " if len(parts) > 2 and parts[2].isdigit() else ""
        sentence = f"{row}{error.message} {error.advice}".strip()
        form.add_error(name if name in form.fields else None, sentence)
