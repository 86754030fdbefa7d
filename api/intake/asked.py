"""What a look asks: answers that were given, questions that stay open, and what was found out, in words.

Must not do: know what is asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from api.domain.errors import InputError
from api.intake.understood import Question

KEYS = (
    "zone", "zone:", "date_order", "clock", "repeated_hour", "serial_start", "time", "probe", "probe:", "probe_column",
    "quantity", "quantity:", "unit", "unit:", "decimal", "sheet", "last_line",
)  # fmt: skip


@dataclass(slots=True)
class Asked:
    """Collects questions and notes while a file is looked at; ``kept`` are a recipe's answers, which may not fit."""

    answers: Mapping[str, str]
    kept: Mapping[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        for key in self.answers:
            if key not in KEYS and not any(key.startswith(one) for one in KEYS if one.endswith(":")):
                known = ", ".join(one + ("NAME" if one.endswith(":") else "") for one in KEYS)
                raise InputError(f"nothing is asked under {key[:60]!r}; answers go by one of: {known}")

    def answer(self, *keys: str) -> str | None:
        """What was answered under the first of these keys; None when nothing was."""
        told = (given.get(key, "").strip() for given in (self.answers, self.kept) for key in keys)
        return next(filter(None, told), None)

    def ask(
        self, key: str, text: str, choices: Sequence[tuple[str, str]], why: str, *,
        suggestion: str | None = None, must: bool = True, also: Sequence[str] = (),
    ) -> str | None:  # fmt: skip
        """The answer, or the suggestion where none is needed, or None; what is not answered stays a question.

        Raises InputError for an answer that is none of the choices.
        """
        given = self.answer(key, *also)
        fits = not choices or given in {value for value, _ in choices}
        if given is None or (not fits and not any(one in self.answers for one in (key, *also))):
            if all(one.key != key for one in self.questions):
                self.questions.append(Question(key, text, tuple(choices), why, suggestion, must))
            return None if must else suggestion
        if not fits:
            words = ", ".join(value for value, _ in choices[:40])
            raise InputError(f"the answer {key}={given[:60]} is none of: {words}")
        return given

    @property
    def open(self) -> bool:
        """Whether something that must be known is not."""
        return any(one.must for one in self.questions)

    def note(self, text: str) -> None:
        """Say what was found."""
        if text not in self.notes:
            self.notes.append(text)
