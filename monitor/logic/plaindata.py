"""Frozen records as plain JSON data and back: dict, list, str, float, int, bool, None."""

from dataclasses import fields, is_dataclass
from math import isfinite
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints


def plain(value: Any) -> Any:
    """A record, or a part of one, as plain data."""
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    return value


def restore(wanted: Any, data: Any) -> Any:
    """A value of the wanted type; TypeError or ValueError where the data is of another kind."""
    origin, arguments = get_origin(wanted), get_args(wanted)
    if origin in (Union, UnionType):
        if data is None:
            return None
        return restore(next(kind for kind in arguments if kind is not NoneType), data)
    if is_dataclass(wanted) and isinstance(wanted, type):
        held, hints = must_be(data, dict), get_type_hints(wanted)
        return wanted(**{key: restore(hints[key], held[key]) for key in hints if key in held})
    if origin is dict:
        key_kind, item_kind = arguments
        return {
            key_kind(key): restore(item_kind, item) for key, item in must_be(data, dict).items()
        }
    if origin is tuple:
        return tuple(restore(arguments[0], item) for item in must_be(data, list))
    if wanted is float:
        return _number(data)
    if isinstance(data, bool) and wanted is not bool:
        raise TypeError(f"{data!r} is not {wanted.__name__}")
    return must_be(data, wanted)


def must_be(data: Any, kind: type) -> Any:
    """The data, if it is of this kind; TypeError if not."""
    if not isinstance(data, kind):
        raise TypeError(f"{data!r} is not {kind.__name__}")
    return data


def _number(data: Any) -> float:
    """A time or an amount; what is not finite would never come due."""
    if isinstance(data, bool) or not isinstance(data, int | float) or not isfinite(data):
        raise TypeError(f"{data!r} is not a finite number")
    return float(data)
