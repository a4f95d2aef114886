"""What a reviewer may decide about a finding."""

from __future__ import annotations

from enum import StrEnum


class Decision(StrEnum):
    """A decision in the words of the report's boxes."""

    AGREED = "agreed"  # the site agrees to live with it
    CHANGE = "change"  # the plan has to change
    QUESTION = "question"  # it is not decided yet


# Words that people write where no list is offered.
_MEANT = {
    "agree": Decision.AGREED,
    "accepted": Decision.AGREED,
    "accept": Decision.AGREED,
    "changed": Decision.CHANGE,
    "?": Decision.QUESTION,
}


def decision_from(text: str) -> Decision | None:
    """Read a decision in any case, None where the cell is empty; ValueError where it is another word."""
    word = text.strip().strip(".!").casefold()
    if not word:
        return None
    if word in _MEANT:
        return _MEANT[word]
    return Decision(word)
