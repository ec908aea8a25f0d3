"""Pages of the importer: send a file, see how far it is and what is wrong with it, write it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import BooleanField, Case, Value, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assets_app.doors.beside import beside
from assets_app.people import rules as people_rules
from assets_app.people.models import Role
from assets_app.people.queries import BY_SITE, require_first, roles_at
from assets_app.refusals import Refused
from assets_app.register import importer, queries
from assets_app.register.api import mapping_text
from assets_app.register.forms import ImportForm
from assets_app.register.models import RegisterImport, Site

LISTED, TOLD = 30, 200
ABLE = people_rules.MAY["register.import"]
THINGS = (
    ("asset", "assets"), ("member", "members"), ("joint", "joints"), ("weld", "welds"), ("bolts", "bolt groups"),
    ("programme", "looks owed"),
)  # fmt: skip
CLEAN = Case(When(report__errors_total=0, then=Value(True)), default=Value(False), output_field=BooleanField())
STOP_POLLING = 286  # htmx's own status: the answer is taken and asking ends


@login_required
@require_http_methods(["GET", "POST"])
def imports(request: HttpRequest) -> HttpResponse:
    """The form for a new file, and what was imported before."""
    able = Role.objects.filter(person=request.user, name__in=ABLE).values("site_id")
    sites = Site.objects.filter(pk__in=able)
    form = ImportForm(request.POST or None, request.FILES or None, sites=sites)
    status = 200
    if request.method == "POST":
        require_first(request.user, "register.import", request.POST, BY_SITE)
        status = 422
        if form.is_valid():
            given = form.cleaned_data
            try:
                row = importer.start_import(
                    site_id=given["site"].pk,
                    file=given["file"],
                    mapping=mapping_text(given["mapping"]),
                    dry_run=given["dry_run"],
                    actor=request.user,
                    now=timezone.now(),
                )
            except Refused as refused:
                beside(form, refused)
                status = refused.status
            else:
                return redirect("import", pk=row.pk)
    rows = queries.imports_in_sight(request.user).defer("report", "mapping").annotate(clean=CLEAN)[:LISTED]
    context = {"form": form if sites else None, "rows": rows, "who_could": people_rules.who_could("register.import")}
    return render(request, "register/imports.html", context, status=status)


@require_safe
@login_required
def one_import(request: HttpRequest, pk: int) -> HttpResponse:
    """How far one import is, and its report."""
    return render(request, "register/import.html", _context(request, pk))


@require_safe
@login_required
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of the page that asks again while a run is at work; once it is over, the asking stops."""
    context = _context(request, pk)
    return render(request, "register/progress.html", context, status=STOP_POLLING if context["row"].is_over else 200)


@login_required
@require_POST
def write(request: HttpRequest, pk: int) -> HttpResponse:
    """Write what was checked."""
    checked = queries.one(queries.imports_in_sight(request.user), pk)
    written = importer.write_checked(import_id=checked.pk, actor=request.user, now=timezone.now())
    messages.success(request, "The file is being written.")
    return redirect("import", pk=written.pk)


def _context(request: HttpRequest, pk: int) -> dict[str, Any]:
    row: RegisterImport = queries.one(queries.imports_in_sight(request.user), pk)
    report = row.report
    counts = report.get("counts", {})
    told = [{"name": words, **counts[key]} for key, words in THINGS if any(counts.get(key, {}).values())]
    may_write = people_rules.may("register.import", roles_at(request.user, row.site_id or 0))
    return {
        "row": row,
        "counts": counts,
        "things": told,
        "errors": report.get("errors", [])[:TOLD],
        "warnings": report.get("warnings", [])[:TOLD],
        "errors_total": report.get("errors_total", 0),
        "warnings_total": report.get("warnings_total", 0),
        "told": TOLD,
        "notes": report.get("notes", []),
        "may_write": may_write and row.state == RegisterImport.State.CHECKED and not report.get("errors_total"),
        "doing": any(each["new"] or each["changed"] for each in told),
    }
