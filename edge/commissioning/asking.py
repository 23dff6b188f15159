"""What a person is asked, and who answers: someone at a terminal, or a file of answers."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Any, Protocol

ANSWER_CHARS_MAX = 200


class AnswerRefused(ValueError):
    """The fitter's: an answer that cannot be one to its question."""


class Kind(StrEnum):
    """What an answer is."""

    TEXT = "text"
    NUMBER = "number"
    DATE = "date"
    YES = "yes"


@dataclass(frozen=True, slots=True)
class Question:
    """key: of the answer within its step. words: as asked. example: of an answer, with the unit."""

    key: str
    words: str
    kind: Kind = Kind.TEXT
    example: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """A step of the whole unit (insulator ""), or of one insulator."""

    step: str
    insulator: str = ""

    @property
    def shown(self) -> str:
        return f"{self.step} {self.insulator}".strip()


class Person(Protocol):
    """wants: whether a step is to be done now. ask: "" leaves it blank. act: something to be done
    by hand; False where the person gives the step up. tell: shown."""

    def wants(self, place: Place) -> bool: ...

    def ask(self, place: Place, question: Question) -> str: ...

    def act(self, place: Place, words: str) -> bool: ...

    def tell(self, words: str) -> None: ...


def checked(question: Question, answer: str) -> str:
    """The answer as it is kept; "" for a blank. Raises AnswerRefused."""
    text = " ".join(answer.split())
    if not text:
        return ""
    if len(text) > ANSWER_CHARS_MAX or not text.isprintable():
        raise AnswerRefused(f"{question.key}: at most {ANSWER_CHARS_MAX} printable characters")
    if question.kind is Kind.NUMBER:
        return _number(question, text)
    if question.kind is Kind.DATE:
        try:
            return date.fromisoformat(text).isoformat()
        except ValueError:
            raise AnswerRefused(f"{question.key} {text!r}: a date as 2026-11-25") from None
    if question.kind is Kind.YES and text.lower() not in ("yes", "no"):
        raise AnswerRefused(f"{question.key} {text!r}: yes or no")
    return text.lower() if question.kind is Kind.YES else text


def _number(question: Question, text: str) -> str:
    try:
        figure = float(text.replace(",", "."))
    except ValueError:
        figure = math.nan
    if not math.isfinite(figure) or figure <= 0:
        raise AnswerRefused(
            f"{question.key} {text!r}: a number above 0, such as {question.example}"
        )
    return f"{figure!r}"


class Terminal:
    """Somebody at the keyboard. read: shows a prompt and returns a line; raises EOFError."""

    def __init__(self, read: Callable[[str], str] = input) -> None:
        self._read = read

    def wants(self, place: Place) -> bool:
        answer = self._read(f"\nDo '{place.shown}' now? [Enter: yes, n: later] ")
        return not answer.strip().lower().startswith("n")

    def ask(self, place: Place, question: Question) -> str:
        example = f" (such as {question.example})" if question.example else ""
        while True:
            answer = self._read(f"  {question.words}{example} [Enter: leave blank] ")
            try:
                return checked(question, answer)
            except AnswerRefused as fault:
                print(f"  {fault}")

    def act(self, place: Place, words: str) -> bool:
        answer = self._read(f"  {words} [Enter: go on, n: give this step up] ")
        return not answer.strip().lower().startswith("n")

    def tell(self, words: str) -> None:
        print(words, flush=True)


class Sheet:
    """A TOML file of answers: [step] or [step."insulator"] with key = answer.

    Steps that it does not name are left as they are. What is to be done by hand is taken as being
    done: the script, or whoever started it, sees to it, and the step waits until it shows.
    """

    def __init__(self, answers: Mapping[str, Any], where: str) -> None:
        self._answers, self._where = answers, where

    def wants(self, place: Place) -> bool:
        return self._table(place) is not None

    def ask(self, place: Place, question: Question) -> str:
        table = self._table(place) or {}
        answer = table.get(question.key, "")
        shown = answer.isoformat() if isinstance(answer, date) else str(answer)
        if isinstance(answer, bool):
            shown = "yes" if answer else "no"
        try:
            return checked(question, shown)
        except AnswerRefused as fault:
            raise AnswerRefused(f"{self._where}: {place.shown}: {fault}") from fault

    def act(self, place: Place, words: str) -> bool:
        self.tell(f"  {words}")
        return True

    def tell(self, words: str) -> None:
        print(words, flush=True)

    def _table(self, place: Place) -> Mapping[str, Any] | None:
        found = self._answers.get(place.step)
        if place.insulator and isinstance(found, Mapping):
            found = found.get(place.insulator)
        return found if isinstance(found, Mapping) else None


def read_sheet(path: Path, steps: Mapping[str, object]) -> Sheet:
    """Raises OSError, AnswerRefused: no TOML, or a step that there is not."""
    try:
        answers = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise AnswerRefused(f"{path}: {fault}; mend the TOML") from fault
    if odd := sorted(set(answers) - set(steps)):
        raise AnswerRefused(f"{path}: {odd[0]} is no step; there are {', '.join(steps)}")
    return Sheet(answers, str(path))
