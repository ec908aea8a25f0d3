"""What a manager is shown once, and the page behind a link, on which a person sets a password."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from assets_app.doors.beside import attempt
from assets_app.people import account_actions, sign_in_links
from assets_app.people.forms import PasswordForm


def handed_over(request: HttpRequest, link: sign_in_links.NewLink) -> HttpResponse:
    """The answer that holds a new link: it is kept nowhere."""
    context = {"link": link, "who": link.person, "valid_days": sign_in_links.valid_days()}
    return _unstored(render(request, "people/new_link.html", context, status=201))


@require_http_methods(["GET", "HEAD", "POST"])
def set_password(request: HttpRequest, person_id: int, token: str) -> HttpResponse:
    """Says whose password the link sets, and sets it; signing in comes after, by whoever knows it."""
    who = sign_in_links.person_of(person_id, token)
    form = PasswordForm(request.POST or None)
    given = {"person_id": who.pk, "token": token, "now": timezone.now()}
    if request.method == "POST" and attempt(
        form, lambda told: account_actions.set_password(password=told["password"], **given)
    ):
        messages.success(request, f"The password of {who.display_name} is set. Sign in as {who.username}.")
        return redirect("sign-in")
    status = 422 if form.errors else 200
    return _unstored(render(request, "people/set_password.html", {"who": who, "form": form}, status=status))


def _unstored(answer: HttpResponse) -> HttpResponse:
    answer["Cache-Control"] = "no-store"
    answer["X-Robots-Tag"] = "noindex"
    return answer


urlpatterns = [path("sign-in/set-password/<int:person_id>/<str:token>/", set_password, name="set-password")]
