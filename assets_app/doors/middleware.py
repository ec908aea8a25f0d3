"""A refused deed on a page: a page that says what is wrong and what to do, with the right status."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from assets_app.doors import problem
from assets_app.refusals import Refused
from engineering.errors import InputError


class RefusalMiddleware:
    """Pages that do not show a refusal beside the field get it as a page of its own; the API never gets a page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        as_page = response.headers.get("Content-Type", "").startswith("text/html")
        if response.status_code >= 400 and as_page and request.path.startswith("/api/"):
            return problem.plain(response.status_code)
        return response

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if isinstance(error, Refused):
            return render(request, "refused.html", {"code": error.code, "message": error.message}, status=error.status)
        if isinstance(error, InputError):
            message = f"{error.argument.replace('_', ' ')} {error.reason}"
            return render(request, "refused.html", {"code": error.code, "message": message}, status=422)
        return None


def locked_out(request: HttpRequest, _response: HttpResponse | None, _credentials: object) -> HttpResponse:
    """What answers at sign-in after too many wrong tries, whether the name exists or not."""
    minutes = round(60 * settings.AXES_COOLOFF_TIME)
    message = (
        f"There were too many wrong tries to sign in by this name. Wait {minutes} minutes and try again; what is on a "
        "phone stays there meanwhile. Who forgot the password asks a manager of the site for a link to set one anew."
    )
    if request.path.startswith("/api/"):
        answer: HttpResponse = problem.plain(429, code="too_many_tries", detail=message)
    else:
        answer = render(request, "refused.html", {"code": "too_many_tries", "message": message}, status=429)
    answer["Retry-After"] = str(60 * minutes)
    return answer
