"""One's own account; what a manager is shown once, and the page behind a link, on which a person sets a password."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from assets_app.doors.beside import attempt
from assets_app.people import mail, password_actions, queries, sign_in_links
from assets_app.people.forms import ChangePasswordForm, PasswordForm
from assets_app.people.models import DeviceToken, Person


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
        form, lambda told: password_actions.set_password(password=told["password"], **given)
    ):
        messages.success(request, f"The password of {who.display_name} is set. Sign in as {who.username}.")
        return redirect("sign-in")
    status = 422 if form.errors else 200
    context = {"who": who, "form": form, "told_by_mail": _is_told_by_mail(who)}
    return _unstored(render(request, "people/set_password.html", context, status=status))


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def account(request: HttpRequest) -> HttpResponse:
    """By what one signs in, and the form to change one's own password. Where that is done one stays signed in; all else
    that was signed in as them ends."""
    form, who = ChangePasswordForm(request.POST or None), request.user

    def change(told: dict[str, Any]) -> None:
        given = {"current": told["current"], "password": told["password"], "request": request}
        update_session_auth_hash(request, password_actions.change_password(actor=who, now=timezone.now(), **given))

    if request.method == "POST" and attempt(form, change):
        messages.success(request, "Your password is changed. Everything else that was signed in as you is signed out.")
        return redirect("account")
    devices = DeviceToken.objects.filter(token__user=who).values_list("name", flat=True)
    context = {"form": form, "devices": list(devices), "has_page": bool(queries.site_ids_of(who))}
    context["told_by_mail"] = _is_told_by_mail(who)
    return _unstored(render(request, "people/account.html", context, status=422 if form.errors else 200))


def _is_told_by_mail(who: Person) -> bool:
    return bool(who.email) and mail.is_set_up()


def _unstored(answer: HttpResponse) -> HttpResponse:
    answer["Cache-Control"] = "no-store"
    answer["X-Robots-Tag"] = "noindex"
    return answer


urlpatterns = [
    path("account/", account, name="account"),
    path("sign-in/set-password/<int:person_id>/<str:token>/", set_password, name="set-password"),
]
