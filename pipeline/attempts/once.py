"""What follows from a whole clip is computed once a clip, not once for each of its many attempts."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

import numpy as np

Computed = TypeVar("Computed")


def once(function: Callable[..., Computed]) -> Callable[..., Computed]:
    """A function of an object that is never changed (a frozen dataclass) and of plain values: kept with the object, and gone with it.

    Arrays are given out read-only, as everybody gets the same one.
    """
    name = f"{function.__module__}.{function.__qualname__}"

    @wraps(function)
    def kept(of: Any, *args: Any) -> Computed:
        key = f"once {name} {args}"
        if key not in of.__dict__:
            value = function(of, *args)
            if isinstance(value, np.ndarray):
                value.flags.writeable = False
            of.__dict__[key] = value
        return of.__dict__[key]

    return kept
