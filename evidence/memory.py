"""Keep what was read and worked out at one opening of a job for the next one.

Hides nothing but the keeping: whoever asks says what the answer rests on, and while that is the same
the same answer is given. The review page opens the job for each decision; a command needs none of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Callable

    from evidence.record import Read

T = TypeVar("T")


class Memory:
    """The last answer to each question about one job; may be asked from several threads.

    Attributes
    ----------
    record
        What was read of the record last; it says itself what it rests on.
    """

    def __init__(self) -> None:
        self.record: Read | None = None
        self._kept: dict[str, tuple[object, object]] = {}

    def knows(self, question: str, rests_on: object) -> bool:
        """Tell whether :meth:`recall` would give an answer without making it."""
        kept = self._kept.get(question)
        return rests_on is not None and kept is not None and kept[0] == rests_on

    def recall(self, question: str, rests_on: object, make: Callable[[], T]) -> T:
        """Give an answer again, or make it and keep it in the place of the one before.

        Parameters
        ----------
        question
            Always asked with one kind of answer.
        rests_on
            Everything that the answer depends on, or what stands for it; compared with ``==``. None
            where nothing can stand for it: then the answer is made, and not kept.

        Examples
        --------
        >>> memory = Memory()
        >>> memory.recall("sum", (1, 2), lambda: 3), memory.recall("sum", (1, 2), lambda: 4)
        (3, 3)
        """
        kept = self._kept.get(question)
        if rests_on is not None and kept is not None and kept[0] == rests_on:
            return cast("T", kept[1])  # one kind of answer to each question
        made = make()
        if rests_on is not None:
            self._kept[question] = (rests_on, made)
        return made
