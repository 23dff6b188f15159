"""Hypothesis strategies for every record kind, made from the declared types and their limits."""

from __future__ import annotations

import types
from dataclasses import fields
from enum import Enum
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from annotated_types import Ge, Le, Len
from hypothesis import strategies as st

from edge.quantities import INT64_MAX
from edge.records import Record

KINDS: tuple[type, ...] = get_args(Record)

TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
"""Any text that UTF-8 can hold, control characters and quotes too."""


def records() -> st.SearchStrategy[Any]:
    """Any record at all."""
    return st.one_of([record_of(kind) for kind in KINDS])


def record_of(kind: type) -> st.SearchStrategy[Any]:
    hints = get_type_hints(kind, include_extras=True)
    return st.builds(kind, **{f.name: of_type(hints[f.name]) for f in fields(kind)})


def of_type(hint: Any) -> st.SearchStrategy[Any]:
    """Any value that the annotation allows."""
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return _limited(arguments[0], arguments[1:])
    if origin in (Union, types.UnionType):
        return st.one_of([of_type(one) for one in arguments])
    if origin is Literal:
        return st.sampled_from(arguments)
    if origin is dict:
        return st.dictionaries(of_type(arguments[0]), of_type(arguments[1]), max_size=4)
    if origin is tuple:
        if arguments[-1] is Ellipsis:
            return st.lists(of_type(arguments[0]), max_size=4).map(tuple)
        return st.tuples(*[of_type(one) for one in arguments])
    return _plain(hint)


def _limited(base: Any, limits: tuple[Any, ...]) -> st.SearchStrategy[Any]:
    if base is int:
        low = max([one.ge for one in limits if isinstance(one, Ge)], default=-INT64_MAX)
        high = min([one.le for one in limits if isinstance(one, Le)], default=INT64_MAX)
        return st.integers(low, high)
    assert base is str
    (length,) = [one for one in limits if isinstance(one, Len)]
    alphabet = st.characters(exclude_categories=("Cs",))
    return st.text(alphabet, min_size=length.min_length, max_size=length.max_length)


def _plain(hint: Any) -> st.SearchStrategy[Any]:
    if hint is type(None):
        return st.none()
    if hint is bool:
        return st.booleans()
    if hint is str:
        return TEXT
    assert issubclass(hint, Enum)
    return st.sampled_from(hint)
