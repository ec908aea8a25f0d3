"""Choosing the period of an inspection report; the documents themselves."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from assets_app.doors.pdf_answers import pdf_answer
from assets_app.people.models import Person
from assets_app.people.queries import day_at
from assets_app.refusals import Conflict, NotFound, Refused
from assets_app.register.models import Asset, Joint
from assets_app.register.queries import assets_in_sight, joints_in_sight, one
from schedules.reports import pdf, queries
from schedules.reports.content import InspectionReport

USUAL = timedelta(days=365)


class PeriodForm(forms.Form):
    since = forms.DateField(label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    until = forms.DateField(label="To", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))


@require_safe
@login_required
def joint_report(request: HttpRequest, joint_id: int) -> HttpResponse:
    """The form; with ``?since=&until=`` the PDF."""
    joint = one(joints_in_sight(request.user).select_related("asset__site"), joint_id)
    return _report(request, joint.asset, joint, queries.joint_report, joint.pk)


@require_safe
@login_required
def asset_report(request: HttpRequest, asset_id: int) -> HttpResponse:
    asset = one(assets_in_sight(request.user).select_related("site"), asset_id)
    return _report(request, asset, None, queries.asset_report, asset.pk)


def _report(
    request: HttpRequest,
    asset: Asset,
    joint: Joint | None,
    gather: Callable[[Person, int, date, date], InspectionReport],
    pk: int,
) -> HttpResponse:
    status = 200
    if "since" in request.GET or "until" in request.GET:
        form, status = PeriodForm(request.GET), 422
        if form.is_valid():
            try:
                report = gather(request.user, pk, form.cleaned_data["since"], form.cleaned_data["until"])
            except (NotFound, Conflict):
                raise
            except Refused as refusal:
                form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
            else:
                return pdf_answer(pdf.inspection_report(report), f"inspection-report-{(joint or asset).tag}")
    else:
        today = day_at(asset.site, timezone.now())
        form = PeriodForm(initial={"since": today - USUAL, "until": today})
    return render(request, "reports/period.html", {"form": form, "asset": asset, "joint": joint}, status=status)


@require_safe
@login_required
def hold_certificate(request: HttpRequest, hold_id: int) -> HttpResponse:
    """The return-to-service certificate of a hold that was lifted."""
    told = queries.certificate(request.user, hold_id)
    return pdf_answer(pdf.return_to_service(told), f"return-to-service-{told.number}")


urlpatterns = [
    path("joints/<int:joint_id>/report/", joint_report, name="joint-report"),
    path("assets/<int:asset_id>/report/", asset_report, name="asset-report"),
    path("holds/<int:hold_id>/certificate.pdf", hold_certificate, name="hold-certificate"),
]
