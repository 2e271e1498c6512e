"""The questions of a preparation list: what must be at hand before a switch comes out.

Common practice, no published source.  Distances and torques are not asked: the maker's procedure has them.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from registry.formats.labels import loose_key

YES_NO = (("yes", _("yes")), ("no", _("no")))


@dataclass(frozen=True)
class Question:
    """kind: choice (of `choices`), words (open: the answers given are the choices) or quantity (in `unit`).

    subject: what the question is asked of, named by who answers; "" where it is asked once a design.
    """

    code: str
    asks: str | Promise
    kind: str
    choices: tuple[tuple[str, str | Promise], ...] = ()
    unit: str | Promise = ""
    subject: str | Promise = ""
    largest: float = 0.0

    @property
    def codes(self) -> tuple[str, ...]:
        return tuple(code for code, _words in self.choices)

    def choice_words(self, code: str | None) -> str:
        """The words of a choice; an open one's answer as it is."""
        return "" if code is None else str(dict(self.choices).get(code, code))


QUESTIONS: tuple[Question, ...] = (
    Question("rest_in_place", _("Does it come out with the rest left in place?"), "choice", YES_NO),
    Question("in_vehicle", _("Can it be reached with the gearbox in the vehicle?"), "choice", YES_NO),
    Question("tool", _("Is this tool needed?"), "choice", YES_NO, subject=_("Tool")),
    Question(
        "fastener_once",
        _("May this fastener be used again?"),
        "choice",
        (("again", _("used again")), ("once", _("new each time"))),
        subject=_("Fastener"),
    ),
    Question(
        "gasket",
        _("Is there a gasket or seal?"),
        "choice",
        (("none", _("none")), ("again", _("yes, used again")), ("once", _("yes, new each time"))),
    ),
    Question(
        "fluid_lost",
        _("Does fluid come out?"),
        "choice",
        (("none", _("none")), ("some", _("some drips")), ("drain", _("it must be drained first"))),
    ),
    Question("fluid", _("Which fluid goes back in?"), "words"),
    Question("fluid_litres", _("How much fluid was topped up?"), "quantity", unit=_("L"), largest=100.0),
    Question(
        "adjusted",
        _("Must it be adjusted after fitting?"),
        "choice",
        (("no", _("no")), ("mark", _("yes, by a mark or pin")), ("gauge", _("yes, with a gauge or tool"))),
    ),
    Question("minutes", _("How long did it take?"), "quantity", unit=_("min"), largest=10_000.0),
)
BY_CODE = {question.code: question for question in QUESTIONS}


def answer_key(question: Question, text: str) -> str:
    """One key for an open answer however it is spaced and spelled in capitals."""
    return loose_key(text) if question.kind == "words" else text
