"""From a form to a content: only what a person changed is said differently. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from edge.decide.definitions import AlarmDefinition
from gateway.limits.changing import ChangeRefused
from gateway.limits.contents import (
    DEFAULTS,
    OFF,
    ON,
    OWNER,
    PRIORITY,
    REASON,
    Content,
    definitions_of,
    said_of,
)
from gateway.limits.limit_words import WRITTEN, bare, read_amount

PART_WORD_MAX = 200
"""An owner or a reason of one alarm that is longer is refused by the unit's own settings."""

DEFAULT_OWNER = next(iter(DEFAULTS.values())).owner


@dataclass(frozen=True, slots=True)
class Field:
    """One amount of the form. name: of its input. now: as it stands. default: the program's."""

    name: str
    what: str
    now: str
    default: str


@dataclass(frozen=True, slots=True)
class AlarmFields:
    """One alarm of the form. owner: who answers for it now, "" where only the program does."""

    alarm: str
    text: str
    fields: tuple[Field, ...]
    owner: str


def fields_of(base: Content) -> list[AlarmFields]:
    """The form over a content. Raises ChangeRefused."""
    return [
        AlarmFields(
            alarm.value,
            one.text,
            tuple(_fields(one)),
            "" if one.owner == DEFAULT_OWNER else one.owner,
        )
        for alarm, one in definitions_of(base).items()
    ]


def _fields(now: AlarmDefinition) -> Iterator[Field]:
    default = said_of(DEFAULTS[now.id])
    for what, at in said_of(now).items():
        if what in WRITTEN and not WRITTEN[what].is_yes:
            assert isinstance(at, int)
            yield Field(
                f"{now.id.value}.{what}", what, bare(what, at), bare(what, _int(default, what))
            )


def changed_only(base: Content, form: Mapping[str, str]) -> dict[str, str]:
    """The inputs that say something else than what stands; owners only beside a changed amount.

    Raises ChangeRefused.
    """
    found: dict[str, str] = {}
    for one in fields_of(base):
        own = {
            field.name: form[field.name].strip()
            for field in one.fields
            if field.name in form
            and read_amount(field.what, form[field.name]) != read_amount(field.what, field.now)
        }
        owner = form.get(f"{one.alarm}.{OWNER}", one.owner).strip()
        if own or owner != one.owner:
            found |= own | ({f"{one.alarm}.{OWNER}": owner} if owner else {})
    return found


def drafted(base: Content, form: Mapping[str, str], reason: str) -> dict[str, Any]:
    """The whole content after a person's changes; what is not changed stays as it is said now.

    reason: of the change, kept with each alarm that it changes. Raises ChangeRefused where
    nothing is changed or nobody owns what is.
    """
    changed = changed_only(base, form)
    content = {name: dict(part) for name, part in base.items()}
    for one in fields_of(base):
        own = {f.what: changed[f.name] for f in one.fields if f.name in changed}
        owner = changed.get(f"{one.alarm}.{OWNER}", "")
        if own or owner:
            content[one.alarm] = _part(content.get(one.alarm, {}), one, own, owner, reason)
    if not changed:
        raise ChangeRefused("nothing is changed; change at least one amount or owner")
    definitions_of(content)
    return content


def _part(
    was: Mapping[str, Any], one: AlarmFields, own: Mapping[str, str], owner: str, reason: str
) -> dict[str, Any]:
    if not owner:
        raise ChangeRefused(f"{one.alarm}: nobody owns the changed limit; name who answers for it")
    if len(owner) > PART_WORD_MAX or not owner.isprintable():
        raise ChangeRefused(f"{one.alarm}: the owner is longer than {PART_WORD_MAX} or not plain")
    amounts = {what: read_amount(what, text) for what, text in own.items()}
    limits = {what: at for what, at in amounts.items() if what not in (ON, OFF, PRIORITY)}
    said = dict(was) | {what: amounts[what] for what in (ON, OFF, PRIORITY) if what in amounts}
    said |= {OWNER: owner, REASON: reason[:PART_WORD_MAX]}
    return said | {"limits": dict(was.get("limits") or {}) | limits}


def _int(said: Mapping[str, int | str], what: str) -> int:
    found = said[what]
    assert isinstance(found, int), what
    return found
