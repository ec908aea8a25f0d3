"""Photos of a joint: two dates of one position side by side; one photo and the marks on it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assets_app.doors.beside import attempt
from assets_app.inspections import marks_actions, marks_queries, queries
from assets_app.inspections.marks_models import PhotoMark
from assets_app.inspections.marks_queries import Position, Shown
from assets_app.inspections.models import Evidence
from assets_app.people import rules as rights
from assets_app.people.queries import require, roles_at
from assets_app.register.queries import joints_in_sight, one


def _share(label: str, **more: Any) -> forms.FloatField:
    widget = forms.TextInput(attrs={"inputmode": "decimal"})
    return forms.FloatField(label=f"{label}, %", widget=widget, min_value=0, max_value=100, **more)


class MarkForm(forms.Form):
    """One mark, in per cent of the photo; a touch on the photo fills the figures in."""

    shape = forms.ChoiceField(choices=PhotoMark.Shape.choices)
    x = _share("Where, from the left")
    y = _share("Where, from the top")
    x2 = _share("Arrow from, edge of the ring, or other end of the length: from the left", required=False)
    y2 = _share("Arrow from, edge of the ring, or other end of the length: from the top", required=False)
    text = forms.CharField(
        label="Words; of a length its size",
        required=False,
        max_length=80,
        help_text="as you measured it, with its unit: 12 mm, 3/8 in. Nothing is measured on the photo",
    )

    def given(self) -> dict[str, Any]:
        """What was typed, as shares of 1."""
        told = dict(self.cleaned_data)
        return told | {n: None if told[n] is None else told[n] / 100 for n in ("x", "y", "x2", "y2")}


class StrikeForm(forms.Form):
    reason = forms.CharField(label="What was wrong", max_length=200)


@require_safe
@login_required
def joint_photos(request: HttpRequest, joint_id: int) -> HttpResponse:
    """``?position=&first=&second=``: what does not belong together falls back to the first and the last day."""
    joint = one(joints_in_sight(request.user).select_related("asset__site"), joint_id)
    positions = marks_queries.positions_of(joint)
    asked = request.GET.get("position", "")
    position = next((each for each in positions if each.words == asked), positions[0] if positions else None)
    context = {"joint": joint, "asset": joint.asset, "positions": positions, "position": position, "pair": []}
    if position is not None:
        first = _chosen(position, request.GET.get("first", "")) or position.photos[0]
        second = _chosen(position, request.GET.get("second", "")) or position.photos[-1]
        context |= {"first": first, "second": second, "pair": [_framed(first), _framed(second)]}
    return render(request, "inspections/photos.html", context)


def _chosen(position: Position, pk: str) -> Shown | None:
    return next((each for each in position.photos if str(each.photo.pk) == pk), None)


def _framed(shown: Shown) -> dict[str, Any]:
    return {"shown": shown, "svg": shown.drawing(reverse("evidence-view", args=[shown.photo.pk]))}


@login_required
@require_http_methods(["GET", "POST"])
def photo_marks(request: HttpRequest, evidence_id: int) -> HttpResponse:
    """One photo, the marks on it, and the form to put one on."""
    photo = queries.evidence_view(request.user, evidence_id)
    form = MarkForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 422
        require(request.user, "evidence.add", photo.joint.asset.site_id)
        whose = {"actor": request.user, "now": timezone.now()}
        if attempt(form, lambda _: marks_actions.mark_photo(evidence_id=photo.pk, **form.given(), **whose)):
            messages.success(request, "Marked, and in the record.")
            return redirect("photo-marks", photo.pk)
    return _show(request, photo, form, status)


def _show(
    request: HttpRequest, photo: Evidence, form: MarkForm, status: int, struck: tuple[int, StrikeForm] | None = None
) -> HttpResponse:
    """``struck``: the mark that could not be struck off, and its form as it was sent."""
    seen = marks_queries.shown(marks_queries.with_marks(Evidence.objects.filter(pk=photo.pk)).get())
    joint = seen.photo.joint
    context = {
        "photo": seen.photo,
        "joint": joint,
        "asset": joint.asset,
        "framed": _framed(seen),
        "told": marks_queries.when_and_by_whom(seen.photo),
        "marks": [
            {
                "mark": mark,
                "words": words,
                "form": _strike_form(mark.pk, struck),
                "open": bool(struck) and mark.pk == struck[0],
            }
            for mark, words in zip(seen.photo.marks_now, seen.words, strict=True)
        ],
        "form": form,
        "may_mark": rights.may("evidence.add", roles_at(request.user, joint.asset.site_id)),
    }
    return render(request, "inspections/photo_marks.html", context, status=status)


def _strike_form(mark_id: int, struck: tuple[int, StrikeForm] | None) -> StrikeForm:
    return struck[1] if struck and struck[0] == mark_id else StrikeForm(auto_id=f"id_strike_{mark_id}_%s")


@login_required
@require_POST
def mark_strike(request: HttpRequest, mark_id: int) -> HttpResponse:
    """Strike a mark off."""
    mark = one(marks_queries.marks_for(request.user), mark_id)
    require(request.user, "evidence.add", mark.evidence.joint.asset.site_id)
    form = StrikeForm(request.POST, auto_id=f"id_strike_{mark.pk}_%s")
    whose = {"actor": request.user, "now": timezone.now()}
    if not attempt(form, lambda told: marks_actions.strike_mark(mark_id=mark.pk, **told, **whose)):
        return _show(request, queries.evidence_view(request.user, mark.evidence_id), MarkForm(), 422, (mark.pk, form))
    messages.success(request, "Struck off, and in the record.")
    return redirect("photo-marks", mark.evidence_id)


urlpatterns = [
    path("joints/<int:joint_id>/photos/", joint_photos, name="joint-photos"),
    path("evidence/<int:evidence_id>/marks/", photo_marks, name="photo-marks"),
    path("marks/<int:mark_id>/strike/", mark_strike, name="mark-strike"),
]
