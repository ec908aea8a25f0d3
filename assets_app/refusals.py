"""The errors a deed may answer with. Each has a stable code; doors turn them into a page message or problem+json.

``Refused`` 400 · ``NotAllowed`` 403 · ``NotFound`` 404 · ``Conflict`` 409 · ``Unprocessable`` 422
"""

from __future__ import annotations

from typing import Any


class Refused(Exception):
    """A deed was refused. Nothing was written.

    Attributes:
        code: stable machine-readable code, e.g. ``reading_runs_backwards``.
        message: what is wrong and what to do, in words a technician would use.
        field: the field at fault, if one is.
        data: further facts, e.g. what changed since.
    """

    status = 400

    def __init__(self, code: str, message: str, *, field: str = "", **data: Any) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.field = field
        self.data = data


class NotAllowed(Refused):
    """The person may not do this; the message says who could."""

    status = 403


class NotFound(Refused):
    status = 404


class Conflict(Refused):
    """Something changed meanwhile, or the state does not allow it; ``data`` says what."""

    status = 409


class Unprocessable(Refused):
    """Well formed, but not acceptable: the message names the field or row."""

    status = 422
