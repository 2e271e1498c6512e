"""Reading a body of JSON field by field, collecting all that is wrong with it in one go."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Collection, Iterable
from datetime import date
from typing import Any, TypeVar

from registry.errors import RegistryError, RegistryErrors, pointer
from registry.formats.labels import is_formula, is_hidden
from registry.formats.typed_number import typed_number
from registry.services.texts import has_control
from registry.translation import gettext as _

T = TypeVar("T")
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


class Fields:
    """A JSON object as it came in, and the errors found in it so far."""

    def __init__(self, body: Any, at: tuple[str | int, ...] = (), errors: list[RegistryError] | None = None):
        self.errors: list[RegistryError] = [] if errors is None else errors
        self.at = at
        self.body: dict[str, Any] = body if isinstance(body, dict) else {}
        if not isinstance(body, dict):
            self.wrong("", "not_an_object", _("This is not an object."), _("Send a JSON object."))

    def wrong(self, name: str | int, code: str, message: str, advice: str = "") -> None:
        parts = (*self.at, name) if name != "" else self.at
        self.errors.append(RegistryError(code, message, advice, field=pointer(*parts)))

    def take(self, name: str, read: Callable[[Any], T], default: T) -> T:
        """The field read by a parser that raises RegistryError; the default where absent or wrong."""
        value = self.body.get(name)
        if value is None:
            return default
        try:
            return read(value)
        except RegistryError as error:
            self.errors.append(error.at(field=pointer(*self.at, name)))
            return default

    def text(self, name: str, *, longest: int = 200, needed: bool = False, lines: bool = False) -> str:
        value = self.body.get(name)
        value = "" if value is None else value
        if not isinstance(value, str):
            self.wrong(name, "not_text", _("This is not text."), _("Send it as text."))
            return ""
        length, value = len(value), value.strip()
        if has_control(value, lines=lines):
            self.wrong(name, "control_characters", _("There are characters here that can't be shown."))
            return ""
        if needed and not value:
            self.wrong(name, "value_missing", _("This is empty."), _("Fill it in."))
        if length > longest:
            self.wrong(
                name,
                "too_long",
                _("This has {n} characters.").format(n=length),
                _("Write at most {longest}.").format(longest=longest),
            )
            return value[:longest]
        return value

    def name(
        self, name: str, *, longest: int = 200, needed: bool = False, stored: Collection[str] = ()
    ) -> str:
        """A text that becomes a cell of tables, too: nothing that a spreadsheet takes for a formula, and
        nothing that looks like another name and is none.

        stored: what is taken as it is, since it was before there was this rule.
        """
        value = self.text(name, longest=longest, needed=needed)
        if is_hidden(value) and value not in stored:
            self.wrong(name, "control_characters", _("There are characters here that can't be shown."))
            return ""
        if not is_formula(value) or value in stored:
            return value
        self.wrong(
            name,
            "name_formula",
            _("“{text}” is what a spreadsheet takes for a formula.").format(text=value[:40]),
            _("Write the name itself, beginning with a letter or a figure."),
        )
        return ""

    def one_of(self, name: str, words: Iterable[str], default: str) -> str:
        value = self.body.get(name)
        allowed = list(words)
        if value is None or value == "":
            return default
        if value not in allowed:
            self.wrong(
                name,
                "word_unknown",
                _("“{value}” is not known here.").format(value=str(value)[:40]),
                _("Choose one of: {words}.").format(words=", ".join(allowed)),
            )
            return default
        return str(value)

    def number(
        self, name: str, default: float | None, *, low: float = 0.0, high: float = 1e12
    ) -> float | None:
        value = self.body.get(name)
        if value is None or value == "":
            return default
        try:
            figure = typed_number(str(value))
        except RegistryError as error:
            self.errors.append(error.at(field=pointer(*self.at, name)))
            return default
        if not low <= figure <= high:
            self.wrong(
                name,
                "out_of_range",
                _("{v} can't be right here.").format(v=str(value)[:40]),
                _("Give a number from {low:g} to {high:g}.").format(low=low, high=high),
            )
            return default
        return figure

    def whole(self, name: str, default: int, *, low: int, high: int) -> int:
        figure = self.number(name, float(default), low=low, high=high)
        if figure is None or figure != int(figure):
            self.wrong(name, "not_a_whole_number", _("This is not a whole number."))
            return default
        return int(figure)

    def yes(self, name: str, default: bool = False) -> bool:
        value = self.body.get(name)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.wrong(name, "not_yes_or_no", _("This is neither true nor false."))
            return default
        return value

    def day(self, name: str) -> date | None:
        value = self.body.get(name)
        if value in (None, ""):
            return None
        try:
            day = date.fromisoformat(value if isinstance(value, str) and _DAY.fullmatch(value) else "")
        except ValueError:
            self.wrong(name, "not_a_day", _("This is not a date."), _("Write it as 2026-11-25."))
            return None
        if day > date.today():
            self.wrong(name, "day_ahead", _("This day is yet to come."), _("Give the day of the reading."))
        return day

    def id(self, name: str) -> uuid.UUID | None:
        value = self.body.get(name)
        if value in (None, ""):
            return None
        try:
            return uuid.UUID(str(value))
        except ValueError:
            self.wrong(name, "not_an_id", _("This is not an id."), _("Send the UUID as it was given."))
            return None

    def inside(self, name: str) -> Fields:
        """The object in a field; an empty one where absent."""
        value = self.body.get(name)
        return Fields({} if value is None else value, (*self.at, name), self.errors)

    def rows(self, name: str, *, most: int) -> list[Fields]:
        value = self.body.get(name)
        if value is None:
            return []
        if not isinstance(value, list):
            self.wrong(name, "not_a_list", _("This is not a list."), _("Send a list."))
            return []
        if len(value) > most:
            self.wrong(name, "too_many", _("More than {most} entries.").format(most=most))
            return []
        return [Fields(row, (*self.at, name, n), self.errors) for n, row in enumerate(value)]

    def raise_all(self) -> None:
        if self.errors:
            raise RegistryErrors(self.errors)
