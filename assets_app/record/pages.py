"""The record as a page: what was done, by whom, when, newest first; and to take along, with what checks it."""

from __future__ import annotations

from pathlib import Path

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from assets_app.people.models import Person
from assets_app.people.queries import colleagues_of, roles_at
from assets_app.people.rules import may
from assets_app.record import check_actions, queries, verifier
from assets_app.record.sentences import DEEDS, PLAIN, sentence
from assets_app.register.queries import one

PAGE = 100
JSON_LINES = "application/jsonl"
STOP_POLLING = 286  # htmx's own status: the answer is taken and asking ends


class FilterForm(forms.Form):
    """Which entries; an id that is none matches nothing rather than everything."""

    asset = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    joint = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    actor = forms.ChoiceField(required=False, label="Who")
    deed = forms.ChoiceField(required=False, label="What")
    before = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)

    def __init__(self, *args: object, person: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.fields["actor"].choices = [("", "everybody")] + [
            (str(who.pk), who.display_name) for who in colleagues_of(person)
        ]
        groups = dict.fromkeys(deed.split(".")[0] for deed in (*DEEDS, *PLAIN))
        self.fields["deed"].choices = [("", "everything")] + [(name, name) for name in groups]


@require_safe
@login_required
def record(request: HttpRequest) -> HttpResponse:
    form = FilterForm(request.GET, person=request.user)
    if not form.is_valid():
        return render(request, "record/record.html", {"form": form, "rows": []}, status=422)
    asked = form.cleaned_data
    entries = queries.entries(
        request.user,
        asset_id=asked["asset"],
        joint_id=asked["joint"],
        actor_id=int(asked["actor"] or 0),
        deed=asked["deed"],
    )
    if asked["before"]:
        entries = entries.filter(pk__lt=asked["before"])
    found = list(entries[: PAGE + 1])
    rows = [{"entry": entry, "words": sentence(entry.deed, entry.facts)} for entry in found[:PAGE]]
    query = request.GET.copy()
    query.pop("before", None)
    first = f"?{query.urlencode()}"
    query["before"] = str(found[PAGE - 1].pk) if len(found) > PAGE else ""
    more = f"?{query.urlencode()}" if len(found) > PAGE else ""
    context = {"form": form, "rows": rows, "next_url": more, "first_url": first if asked["before"] else ""}
    context["chains"] = queries.chains_to_check(request.user)
    return render(request, "record/record.html", context)


def export_answer(person: Person, site_id: int) -> StreamingHttpResponse:
    """A site's whole chain as a file to keep; pages and API give the same one."""
    site, lines = queries.export(person, site_id)
    answer = StreamingHttpResponse((f"{line}\n" for line in lines), content_type=JSON_LINES)
    answer["Content-Disposition"] = f'attachment; filename="record-{site.slug}.jsonl"'
    return answer


@require_safe
@login_required
def record_export(request: HttpRequest, site_id: int) -> StreamingHttpResponse:
    return export_answer(request.user, site_id)


@require_POST
@login_required
def record_check_now(request: HttpRequest, site_id: int) -> HttpResponse:
    """Have a site's chain checked by a worker, and show how far it is."""
    row = check_actions.ask_for_check(site_id=site_id, actor=request.user, now=timezone.now())
    return redirect("record-check", row.pk)


@require_safe
@login_required
def record_check(request: HttpRequest, pk: int) -> HttpResponse:
    """How far a check is, or what it found."""
    row = one(queries.checks(request.user), pk)
    may_check = may("record.check", roles_at(request.user, row.site_id))
    return render(request, "record/check.html", {"row": row, "may_check": may_check})


@require_safe
@login_required
def record_check_progress(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of the page that asks again while the check is at work; once it is over, the asking stops."""
    row = one(queries.checks(request.user), pk)
    may_check = may("record.check", roles_at(request.user, row.site_id))
    context = {"row": row, "may_check": may_check}
    return render(request, "record/check_progress.html", context, status=STOP_POLLING if row.is_over else 200)


@require_safe
@login_required
def record_verifier(request: HttpRequest) -> FileResponse:
    """The stand-alone verifier itself, as it runs here."""
    script = Path(verifier.__file__).with_suffix(".py").open("rb")
    return FileResponse(script, as_attachment=True, filename="verifier.py", content_type="text/x-python")


urlpatterns = [
    path("record/", record, name="record"),
    path("record/sites/<int:site_id>.jsonl", record_export, name="record-export"),
    path("record/sites/<int:site_id>/check/", record_check_now, name="record-check-now"),
    path("record/checks/<int:pk>/", record_check, name="record-check"),
    path("record/checks/<int:pk>/progress/", record_check_progress, name="record-check-progress"),
    path("record/verifier.py", record_verifier, name="record-verifier"),
]
