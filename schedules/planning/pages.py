"""The pages of this capability, relative to the root: where a role lands, what is due, a joint."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.views.decorators.http import require_safe

from assets_app.doors.sheets import landing
from assets_app.people.models import Role
from schedules.planning.due_page import due, due_csv, raise_order
from schedules.planning.joint_page import joint


@require_safe
@login_required
def home(request: HttpRequest) -> HttpResponse:
    """Each role lands on the sheet that answers its question."""
    return redirect(landing(Role.objects.filter(person_id=request.user.pk).values_list("name", flat=True)))


urlpatterns = [
    path("", home, name="home"),
    path("due/", due, name="due"),
    path("due/list.csv", due_csv, name="due-csv"),
    path("due/raise/", raise_order, name="due-raise"),
    path("joints/<int:pk>/", joint, name="joint"),
]
