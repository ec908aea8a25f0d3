"""Choosing the period of an inspection report; the documents themselves."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from assets_app.claims import MOST_ATTEMPTS, SILENT_AFTER
from assets_app.doors.beside import beside
from assets_app.doors.pdf_answers import pdf_answer
from assets_app.people.queries import day_at
from assets_app.refusals import Conflict, NotFound, Refused
from assets_app.register.models import Asset, Joint
from assets_app.register.queries import assets_in_sight, joints_in_sight, one
from schedules.reports import certificate_queries, pdf, queries, written_actions, written_queries
from schedules.reports.models import KEPT

USUAL = timedelta(days=365)
LISTED = 12
LIMITS = {"most_attempts": MOST_ATTEMPTS, "silent_minutes": SILENT_AFTER // timedelta(minutes=1)}
STOP_POLLING = 286  # htmx's own status: the answer is taken and asking ends


class PeriodForm(forms.Form):
    since = forms.DateField(label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    until = forms.DateField(label="To", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def joint_report(request: HttpRequest, joint_id: int) -> HttpResponse:
    """The form; with ``?since=&until=`` the PDF. Sent, it has the report written by a worker."""
    joint = one(joints_in_sight(request.user).select_related("asset__site"), joint_id)
    return _Asking(request, joint.asset, joint).answer()


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def asset_report(request: HttpRequest, asset_id: int) -> HttpResponse:
    asset = one(assets_in_sight(request.user).select_related("site"), asset_id)
    return _Asking(request, asset, None).answer()


class _Asking:
    """A report of a joint, or else of an asset, asked for at its page."""

    def __init__(self, request: HttpRequest, asset: Asset, joint: Joint | None) -> None:
        self.request, self.asset, self.joint = request, asset, joint
        self.of = {"joint_id": joint.pk} if joint else {"asset_id": asset.pk}
        self.too_large = ""

    def answer(self) -> HttpResponse:
        sent = self.request.POST if self.request.method == "POST" else self.request.GET
        if self.request.method != "POST" and not {"since", "until"} & set(sent):
            today = day_at(self.asset.site, timezone.now())
            return self._page(PeriodForm(initial={"since": today - USUAL, "until": today}), 200)
        form = PeriodForm(sent)
        if form.is_valid():
            try:
                return self._report(form.cleaned_data["since"], form.cleaned_data["until"])
            except NotFound:
                raise
            except Refused as refusal:
                if refusal.code == "report_large":
                    self.too_large = refusal.message
                elif isinstance(refusal, Conflict) and refusal.code != "reports_waiting":
                    raise
                else:
                    beside(form, refusal)
        return self._page(form, 422)

    def _report(self, since: date, until: date) -> HttpResponse:
        person = self.request.user
        if self.request.method == "POST":
            now = timezone.now()
            asked = written_actions.ask_for_report(since=since, until=until, actor=person, now=now, **self.of)
            return redirect("report", pk=asked.pk)
        gather = queries.joint_report if self.joint else queries.asset_report
        report = gather(person, (self.joint or self.asset).pk, since, until)
        return pdf_answer(pdf.inspection_report(report), f"inspection-report-{(self.joint or self.asset).tag}")

    def _page(self, form: PeriodForm, status: int) -> HttpResponse:
        before = written_queries.reports_in_sight(self.request.user).filter(asset=self.asset, joint=self.joint)
        context = {
            **{"form": form, "asset": self.asset, "joint": self.joint, "too_large": self.too_large},
            **{"before": before[:LISTED], "kept_days": KEPT.days},
        }
        return render(self.request, "reports/period.html", context, status=status)


@require_safe
@login_required
def report(request: HttpRequest, pk: int) -> HttpResponse:
    """How far a report is that a worker writes, and its file."""
    return render(request, "reports/written.html", _context(request, pk))


@require_safe
@login_required
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of the page that asks again while it is written; once it is over, the asking stops."""
    context = _context(request, pk)
    status = STOP_POLLING if context["row"].is_over else 200
    return render(request, "reports/progress.html", context, status=status)


def _context(request: HttpRequest, pk: int) -> dict[str, Any]:
    row = one(written_queries.reports_in_sight(request.user), pk)
    return {"row": row, "kept_days": KEPT.days, "silent": row.is_silent(timezone.now()), **LIMITS}


@require_safe
@login_required
def report_file(request: HttpRequest, pk: int) -> HttpResponse:
    row, content = written_queries.file_of(request.user, pk)
    return pdf_answer(content, f"inspection-report-{row.subject}")


@require_safe
@login_required
def hold_certificate(request: HttpRequest, hold_id: int) -> HttpResponse:
    """The return-to-service certificate of a hold that was lifted."""
    told = certificate_queries.certificate(request.user, hold_id)
    return pdf_answer(pdf.return_to_service(told), f"return-to-service-{told.number}")


urlpatterns = [
    path("reports/<int:pk>/", report, name="report"),
    path("reports/<int:pk>/progress/", progress, name="report-progress"),
    path("reports/<int:pk>/report.pdf", report_file, name="report-file"),
    path("joints/<int:joint_id>/report/", joint_report, name="joint-report"),
    path("assets/<int:asset_id>/report/", asset_report, name="asset-report"),
    path("holds/<int:hold_id>/certificate.pdf", hold_certificate, name="hold-certificate"),
]
