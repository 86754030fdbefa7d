"""What a terminal shows of a question: few choices below each other, many in one list, each with its option."""

from __future__ import annotations

from api.import_text import asked
from api.intake.understood import Question


def question(count: int) -> Question:
    """Which of so many tanks."""
    choices = tuple((f"t{number}", "by the door" if number == 1 else f"t{number}") for number in range(count))
    return Question("tank:logger 1", "Which tank was probe logger 1 in?", choices, "new here")


def test_few_choices_are_ready_to_copy() -> None:
    """Quoted as a shell wants them."""
    said = list(asked(question(2)))
    assert said[0] == "? Which tank was probe logger 1 in? (new here)"
    assert [line.strip() for line in said[1:]] == [
        "--answer 'tank:logger 1=t0'   t0", "--answer 'tank:logger 1=t1'   by the door",
    ]  # fmt: skip


def test_many_choices_are_one_list() -> None:
    """A room of two hundred tanks does not fill the screen for each probe."""
    said = list(asked(question(200)))
    assert len(said) == 3
    assert said[1].strip() == "--answer 'tank:logger 1=VALUE'"
    assert said[2].strip().startswith("VALUE: t0, t1 (by the door), t2,")
