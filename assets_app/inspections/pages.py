"""The pages of looks and findings: record a look (phone first), one finding, a photo."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.forms import BaseFormSet
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, register_converter
from django.urls.converters import StringConverter
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from assets_app.doors.beside import attempt
from assets_app.inspections import actions, bolt_sheet, correct_pages, forms, marks_pages, marks_queries, queries
from assets_app.inspections.evidence_actions import joint_for, read_upload
from assets_app.inspections.inputs import PhotoInput
from assets_app.inspections.kinds import KINDS
from assets_app.inspections.look_rules import MOST_PHOTOS
from assets_app.inspections.models import SEVERITY_ORDER, Evidence, Finding
from assets_app.people import rules as rights
from assets_app.people.queries import qualified_for, require, roles_at
from assets_app.record import queries as record
from assets_app.record.sentences import sentence
from assets_app.refusals import NotAllowed, NotFound, Refused, Unprocessable
from assets_app.register.models import Joint

# A new look -----------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def look_new(request: HttpRequest, joint_id: int) -> HttpResponse:
    """Record a look: method, result, conditions, findings one below the other, photos."""
    joint = joint_for(request.user, "read", joint_id)
    _require_look(request, joint)
    known = [(one.pk, forms.known_words(one)) for one in queries.open_findings(joint.pk)]
    row = {"joint": joint, "known": known}
    if request.method != "POST":
        return _show_look(request, joint, *_fresh_forms(request, joint, row))
    if "add" in request.POST:  # one more finding; what was typed stays
        data = forms.with_one_more(request.POST)
        look = forms.LookForm(initial=data.dict(), joint=joint)
        rows = forms.Findings(prefix="findings", form_kwargs=row, initial=forms.typed(data))
        return _show_look(request, joint, look, rows)
    look = forms.LookForm(request.POST, joint=joint)
    rows = forms.Findings(request.POST, request.FILES, prefix="findings", form_kwargs=row)
    if look.is_valid() and rows.is_valid():
        try:
            inspection = _record(request, joint, look, rows)
        except (NotAllowed, NotFound):
            raise
        except Refused as refusal:
            forms.beside_the_field(refusal, look, rows)
        else:
            messages.success(request, _recorded_words(inspection.findings.all()))
            first = inspection.findings.first()
            return redirect("finding", first.pk) if first else redirect(f"/joints/{joint.pk}/")
    return _show_look(request, joint, look, rows, status=422)


def _require_look(request: HttpRequest, joint: Joint) -> None:
    if not _may_look(joint, roles_at(request.user, joint.asset.site_id)):
        joint_for(request.user, "inspection.record", joint.pk)  # refuses, naming who could


def _may_look(joint: Joint, roles: frozenset[str]) -> bool:
    if rights.may("inspection.record", roles):
        return True
    return joint.kind == Joint.Kind.BOLTED and rights.may("bolt_check.record", roles)


def _fresh_forms(
    request: HttpRequest, joint: Joint, row: dict[str, Any]
) -> tuple[forms.LookForm, BaseFormSet[forms.FindingForm]]:
    here = timezone.now().astimezone(ZoneInfo(joint.asset.site.time_zone))
    method = request.GET.get("method") or ("BC" if joint.kind == Joint.Kind.BOLTED else "VT")
    look = forms.LookForm(initial={"inspected_at": f"{here:%Y-%m-%dT%H:%M}", "method": method}, joint=joint)
    return look, forms.Findings(prefix="findings", form_kwargs=row, initial=[{}])


def _show_look(
    request: HttpRequest,
    joint: Joint,
    look: forms.LookForm,
    rows: BaseFormSet[forms.FindingForm],
    *,
    status: int = 200,
) -> HttpResponse:
    today = timezone.now().astimezone(ZoneInfo(joint.asset.site.time_zone)).date()
    method = str(look["method"].value() or "")
    able = qualified_for(method, joint.asset.site_id, today) if method else []
    context = {"joint": joint, "look": look, "rows": rows, "able": able, "method": method}
    context["i_am_able"] = any(who.pk == request.user.pk for who in able)
    return render(request, "inspections/look_new.html", context, status=status)


def _record(
    request: HttpRequest, joint: Joint, look: forms.LookForm, rows: BaseFormSet[forms.FindingForm]
) -> actions.Inspection:
    given = [form for form in rows if form.is_given]
    photos = []
    for form in rows:
        index = given.index(form) if form in given else None
        for upload in form.cleaned_data.get("photos") or []:
            photos.append(PhotoInput(data=read_upload(upload), name=upload.name, finding_index=index))
    return actions.record_inspection(
        joint_id=joint.pk,
        findings=[form.finding() for form in given],
        photos=photos,
        actor=request.user,
        now=timezone.now(),
        **look.cleaned_data,
    )


def _recorded_words(findings: Any) -> str:
    severities = [finding.severity for finding in findings]
    if not severities:
        return "Recorded: nothing beyond the limits."
    return f"Recorded. The gravest finding is {max(severities, key=SEVERITY_ORDER.__getitem__)}."


# One finding ----------------------------------------------------------------------------------------------------------

# deed in the address -> (right, form, action, what the button says)
DEEDS: dict[str, tuple[str, type[forms.ReasonForm], Callable[..., Any], str]] = {
    "raise": ("finding.raise", forms.SeverityForm, actions.raise_severity, "Call it graver"),
    "lower": ("finding.lower", forms.SeverityForm, actions.lower_severity, "Call it milder"),
    "assess": ("finding.assess", forms.AssessForm, actions.sign_assessment, "Sign an assessment"),
    "join": ("finding.close", forms.JoinForm, actions.join_finding, "It is one found before"),
    "close": ("finding.close", forms.ReasonForm, actions.close_finding, "Close without a repair"),
}


@login_required
@require_GET
def finding(request: HttpRequest, finding_id: int) -> HttpResponse:
    """What was seen, where, its sizes over time, how grave and why, and what this person may do about it."""
    return _show_finding(request, queries.finding_for(request.user, finding_id))


@login_required
@require_POST
def finding_deed(request: HttpRequest, finding_id: int, deed: str) -> HttpResponse:
    """One deed done to a finding."""
    row = queries.finding_for(request.user, finding_id)
    right, _, act, _ = DEEDS[deed]
    require(request.user, right, row.joint.asset.site_id)
    form = _deed_form(deed, row, request.POST)
    if attempt(form, lambda told: act(finding_id=row.pk, actor=request.user, now=timezone.now(), **told)):
        messages.success(request, "Done, and in the record.")
        return redirect("finding", form.cleaned_data.get("same_as", row.pk))
    return _show_finding(request, row, tried={deed: form}, status=422)


def _deed_form(deed: str, row: Finding, data: Any = None) -> forms.ReasonForm:
    more = {"known": _found_before(row)} if deed == "join" else {}
    return DEEDS[deed][1](data, auto_id=f"id_{deed}_%s", **more)


def _found_before(row: Finding) -> list[tuple[int, str]]:
    """What the finding may be, seen again: the open ones of its kind here that were found by its day."""
    same = queries.open_findings(row.joint_id).filter(kind=row.kind, found_on__lte=row.found_on).exclude(pk=row.pk)
    return [(one.pk, f"finding {one.pk}: {forms.known_words(one)}") for one in same]


@login_required
@require_POST
def finding_photo(request: HttpRequest, finding_id: int) -> HttpResponse:
    """Photos added to a finding later."""
    row = queries.finding_for(request.user, finding_id)
    require(request.user, "evidence.add", row.joint.asset.site_id)
    form = forms.PhotosForm(request.POST, request.FILES)
    added: list[Evidence] = []
    if attempt(form, lambda told: _add_photos(request, row, told, added)):
        messages.success(request, f"In the record: {'; '.join(marks_queries.when_and_by_whom(one) for one in added)}.")
        return redirect("finding", row.pk)
    if added:
        form.add_error("photos", f"Added before it, and standing above: {len(added)}. Choose those that are missing.")
    return _show_finding(request, row, photo_form=form, status=422)


def _add_photos(request: HttpRequest, row: Finding, told: dict[str, Any], added: list[Evidence]) -> None:
    """Each photo for itself; one that is refused is named, and those before it stay added."""
    if len(told["photos"]) > MOST_PHOTOS:
        said = f"{len(told['photos'])} photos were chosen; send at most {MOST_PHOTOS} at a time."
        raise Unprocessable("too_many_photos", said, field="photos")
    for upload in told["photos"]:
        try:
            one = actions.add_evidence(
                joint_id=row.joint_id,
                finding_id=row.pk,
                data=read_upload(upload),
                name=upload.name,
                caption=told["caption"],
                actor=request.user,
                now=timezone.now(),
            )
        except Unprocessable as refused:
            said = f"{upload.name}: {refused.message} Choose another photo, or take it again; what you wrote is kept."
            raise Unprocessable(refused.code, said, field="photos") from refused
        added.append(one)


def _show_finding(
    request: HttpRequest,
    row: Finding,
    *,
    tried: dict[str, Any] | None = None,
    photo_form: forms.PhotosForm | None = None,
    status: int = 200,
) -> HttpResponse:
    roles = roles_at(request.user, row.joint.asset.site_id)
    deeds = []
    for name, (right, _, _, words) in DEEDS.items():
        if row.is_open and rights.may(right, roles):
            form = (tried or {}).get(name) or _deed_form(name, row)
            if isinstance(form, forms.JoinForm) and not form.fields["same_as"].choices:
                continue
            deeds.append({"name": name, "words": words, "form": form, "open": name in (tried or {})})
    history = record.entries(request.user, joint_id=row.joint_id).filter(subject_kind="finding", subject_id=row.pk)
    context = {
        "finding": row,
        "kind": KINDS.get(row.kind),
        "joint": row.joint,
        "sizes": queries.sizes(row),
        "photos": [(one, marks_queries.when_and_by_whom(one)) for one in queries.photos_of(row)],
        "assessments": row.assessments.select_related("signed_by"),
        "deeds": deeds,
        "may_look": _may_look(row.joint, roles),
        "photo_form": (photo_form or forms.PhotosForm()) if rights.may("evidence.add", roles) else None,
        "history": [{"entry": entry, "words": sentence(entry.deed, entry.facts)} for entry in history[:50]],
    }
    return render(request, "inspections/finding.html", context, status=status)


# A photo --------------------------------------------------------------------------------------------------------------


@login_required
@require_GET
def evidence_view(request: HttpRequest, evidence_id: int) -> HttpResponse:
    """The redrawn copy, for whoever may see the joint."""
    return photo_response(queries.evidence_view(request.user, evidence_id))


def photo_response(evidence: Evidence) -> HttpResponse:
    """The copy for the page; a photo never changes, but who may see it does: kept by the person's own browser only."""
    response = FileResponse(evidence.view.open("rb"), content_type="image/jpeg")
    response["Cache-Control"] = "private, max-age=86400, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Disposition"] = f'inline; filename="photo-{evidence.pk}.jpg"'
    return response


class DeedInAddress(StringConverter):
    """Takes the deeds of a finding only, so that other pages may stand below its address."""

    regex = "|".join(DEEDS)


register_converter(DeedInAddress, "finding_deed")

urlpatterns = [
    path("joints/<int:joint_id>/looks/new/", look_new, name="look-new"),
    path("findings/<int:finding_id>/", finding, name="finding"),
    path("findings/<int:finding_id>/photos/", finding_photo, name="finding-photos"),
    path("findings/<int:finding_id>/<finding_deed:deed>/", finding_deed, name="finding-deed"),
    path("evidence/<int:evidence_id>/view.jpg", evidence_view, name="evidence-view"),
    *bolt_sheet.urlpatterns,
    *correct_pages.urlpatterns,
    *marks_pages.urlpatterns,
]
