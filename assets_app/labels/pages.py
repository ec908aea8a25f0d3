"""The sheet of labels of an asset, and the address in a label's code."""

from __future__ import annotations

from collections.abc import Sequence

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assets_app.doors.beside import beside
from assets_app.doors.pdf_answers import pdf_answer
from assets_app.labels import actions, pdf, queries
from assets_app.labels.forms import ReissueForm, SheetForm
from assets_app.labels.models import JointLabel
from assets_app.people import rules as people_rules
from assets_app.people.queries import roles_at
from assets_app.refusals import NotAllowed, NotFound, Refused
from assets_app.register.models import Asset
from assets_app.register.queries import assets_in_sight, joints_in_sight, one


def address_of(label: JointLabel) -> str:
    """What the code holds: nothing but a random address."""
    return settings.BASE_URL.rstrip("/") + reverse("label-scanned", args=[label.token])


def printed(labels: Sequence[JointLabel]) -> list[pdf.Label]:
    """Labels as the sheet takes them."""
    return [
        pdf.Label(
            address=address_of(label),
            tag=label.joint.tag,
            asset_tag=f"{label.joint.asset.tag} {label.joint.asset.name}".strip(),
            name=label.joint.name,
            site=label.joint.asset.site.name,
        )
        for label in labels
    ]


@never_cache
@require_safe
@login_required
def scanned(request: HttpRequest, token: str) -> HttpResponse:
    """A label was scanned: on to the joint. Signed out, the sign-in page comes first and names nothing."""
    return redirect("joint", queries.label_by_token(request.user, token).joint_id)


@login_required
@require_http_methods(["GET", "POST"])
def labels(request: HttpRequest, asset_id: int) -> HttpResponse:
    """Choose joints and a sheet, get the PDF. Joints without a label get one."""
    asset = one(assets_in_sight(request.user).select_related("site"), asset_id)
    joints = list(queries.joints_to_label(request.user, asset.pk)[: actions.MOST + 1])
    shown = joints[: actions.MOST]
    if request.method != "POST":
        given = request.GET.get("joint", "")
        chosen = [joint.pk for joint in shown if not given or str(joint.pk) == given]
        return _show(request, asset, SheetForm(initial={"joints": chosen}, joints=shown), more=len(joints) > len(shown))
    form = SheetForm(request.POST, joints=shown)
    if form.is_valid():
        try:
            return _sheet(request, asset, form)
        except (NotAllowed, NotFound):
            raise
        except Refused as refusal:
            beside(form, refusal)
    return _show(request, asset, form, more=len(joints) > len(shown), status=422)


def _sheet(request: HttpRequest, asset: Asset, form: SheetForm) -> HttpResponse:
    """A sheet that cannot be drawn issues nothing."""
    told = form.cleaned_data
    joints = list(joints_in_sight(request.user).filter(pk__in=told["joints"]).select_related("asset__site"))
    trial = [pdf.Label(_trial_address(), joint.tag, asset.tag) for joint in joints]
    pdf.check(trial, form.grid(), start_at=told["start_at"])
    issued = actions.issue_labels(joint_ids=told["joints"], actor=request.user, now=timezone.now())
    content = pdf.sheet(printed(issued), form.grid(), start_at=told["start_at"], outlines=told["outlines"])
    return pdf_answer(content, f"labels-{asset.tag}")


def _trial_address() -> str:
    """An address as long as a real one."""
    return settings.BASE_URL.rstrip("/") + reverse("label-scanned", args=["x" * 22])


def _show(request: HttpRequest, asset: Asset, form: SheetForm, *, more: bool, status: int = 200) -> HttpResponse:
    live = queries.labels_in_sight(request.user).filter(joint__asset=asset, withdrawn_at=None).order_by("joint__tag")
    roles = roles_at(request.user, asset.site_id)
    context = {
        "asset": asset,
        "form": form,
        "more": more,
        "most": actions.MOST,
        "live": live[: actions.MOST],
        "reissue": ReissueForm() if people_rules.may("label.withdraw", roles) else None,
        "may_issue": people_rules.may("label.issue", roles),
    }
    return render(request, "labels/labels.html", context, status=status)


@login_required
@require_POST
def reissue(request: HttpRequest, joint_id: int) -> HttpResponse:
    """Withdraw the label of a joint and issue another."""
    joint = one(joints_in_sight(request.user), joint_id)
    form = ReissueForm(request.POST)
    reason = form.cleaned_data["reason"] if form.is_valid() else ""  # the action says what is wrong with none
    actions.reissue_label(joint_id=joint.pk, reason=reason, actor=request.user, now=timezone.now())
    messages.success(request, f"The old label of {joint.tag} opens nothing any more. Print the new one.")
    return redirect(f"{reverse('labels', args=[joint.asset_id])}?joint={joint.pk}")


urlpatterns = [
    path("j/<slug:token>/", scanned, name="label-scanned"),
    path("assets/<int:asset_id>/labels/", labels, name="labels"),
    path("joints/<int:joint_id>/label/reissue/", reissue, name="label-reissue"),
]
