"""The page of one crack's growth: the drawing, and the same in words and as a table."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from assets_app.inspections import queries as inspections
from assets_app.inspections.kinds import KINDS
from schedules.due.growth_data import growth_of
from schedules.due.growth_drawing import growth_drawing


@require_safe
@login_required
def growth(request: HttpRequest, finding_id: int) -> HttpResponse:
    """The page. A finding at a site where the person has no role is not there."""
    finding = inspections.finding_for(request.user, finding_id)
    told = growth_of(finding, now=timezone.now())
    kind = KINDS.get(finding.kind)
    name = f"{kind.words if kind else finding.kind} at {finding.joint.tag}"
    context = {
        "finding": finding,
        "joint": finding.joint,
        "name": name,
        "growth": told,
        "wide": growth_drawing(told, name=name),
        "narrow": growth_drawing(told, name=name, narrow=True),
    }
    return render(request, "due/growth.html", context)
