"""What a page does with a deed that is refused: the sentence goes beside its field, and what was typed stays."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms

from assets_app.refusals import Refused

OF_THE_WHOLE_PAGE = (403, 404)


def beside(form: forms.Form, refused: Refused, *, field: str | None = None) -> int:
    """Put a refusal beside its field, or above the form where it has none there; the status that the page answers with.

    ``field``: what the form calls it, where that is another name than the refusal's.
    """
    name = refused.field if field is None else field
    form.add_error(name if name in form.fields else None, refused.message)
    return refused.status


def attempt(form: forms.Form, deed: Callable[[dict[str, Any]], Any]) -> bool:
    """Do ``deed`` with what the form holds; whether it was done, and neither the form nor the deed refused.

    What the person may not do, or cannot see, stays a refusal of the whole page.
    """
    if not form.is_valid():
        return False
    try:
        deed(form.cleaned_data)
    except Refused as refused:
        if refused.status in OF_THE_WHOLE_PAGE:
            raise
        beside(form, refused)
        return False
    return True
