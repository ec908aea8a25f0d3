"""Pages of the importer: send a file, see how far it is and what is wrong with it, write it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import BooleanField, Case, QuerySet, Value, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assets_app.doors.beside import beside
from assets_app.people import rules as people_rules
from assets_app.people.models import Person, Role
from assets_app.people.queries import BY_SITE, require_first, roles_at
from assets_app.refusals import Refused
from assets_app.register import importer, lists, queries
from assets_app.register.api import mapping_text, template_answer
from assets_app.register.forms import ImportForm
from assets_app.register.models import RegisterImport, Site

LISTED, TOLD = 30, 200
THINGS = (
    ("asset", "assets"), ("member", "members"), ("joint", "joints"), ("weld", "welds"), ("bolts", "bolt groups"),
    ("programme", "looks owed"), ("certificate", "certificates"), ("counter", "counters"),
)  # fmt: skip
WORDS = {"register": "assets, members, joints and looks owed", "certificates": "certificates", "counters": "counters"}
REGISTER_HEADINGS = (
    "asset_tag,asset_kind,joint_tag,joint_kind,weld_leg,weld_wall,programme_method,programme_calendar_months"
)
EXAMPLES = {
    "register": "R-01,ride,W-001,weld,3/8 in,10 mm,MT,12",
    "certificates": "kez,ndt,MT,2,,,LP-77,2024-03-01,2029-02-28,",
    "counters": "R-01,cycles,cycles,yes,1000000,7",
}
CLEAN = Case(When(report__errors_total=0, then=Value(True)), default=Value(False), output_field=BooleanField())
STOP_POLLING = 286  # htmx's own status: the answer is taken and asking ends


@login_required
@require_http_methods(["GET", "POST"])
def imports(request: HttpRequest) -> HttpResponse:
    """The form for a new file, and what was imported before."""
    kinds, sites = _may_import(request.user)
    asked = request.GET.get("kind")
    first = {"kind": asked} if asked in kinds else {}
    form = ImportForm(
        request.POST or None,
        request.FILES or None,
        sites=sites,
        kinds=[(kind, WORDS[kind]) for kind in kinds],
        initial=first,
    )
    status = 200
    if request.method == "POST":
        require_first(request.user, lists.right_to_send(request.POST), request.POST, BY_SITE)
        status = 422
        if form.is_valid():
            given = form.cleaned_data
            try:
                row = importer.start_import(
                    site_id=given["site"].pk,
                    kind=given["kind"],
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
    context = {"form": form if kinds else None, "rows": rows, "shapes": _shapes(kinds)}
    context["who_could"] = [(WORDS[kind], people_rules.who_could(deed)) for kind, deed in lists.rights().items()]
    return render(request, "register/imports.html", context, status=status)


def _may_import(person: Person) -> tuple[list[str], QuerySet[Site]]:
    """The kinds that the person may import at one site at least, and those sites."""
    held = set(Role.objects.filter(person=person).values_list("name", flat=True))
    able = {kind: people_rules.MAY[deed] & held for kind, deed in lists.rights().items()}
    names = frozenset().union(*able.values())
    sites = Site.objects.filter(pk__in=Role.objects.filter(person=person, name__in=names).values("site_id"))
    return [kind for kind, roles in able.items() if roles], sites.order_by("name")


def _shapes(kinds: list[str]) -> list[dict[str, Any]]:
    """What a file of each kind looks like without a mapping."""
    told = []
    for kind in kinds:
        fields = [] if kind == lists.REGISTER else list(lists.known(kind).fields.values())
        shown = REGISTER_HEADINGS if kind == lists.REGISTER else ",".join(lists.headings(kind))
        example = f"{shown}\n{EXAMPLES[kind]}"
        told.append({"kind": kind, "words": WORDS[kind], "fields": fields, "example": example})
    return told


@require_safe
@login_required
def template(request: HttpRequest, kind: str) -> HttpResponse:
    """An empty file to fill in."""
    return template_answer(kind)


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
    may_write = people_rules.may(lists.right_to_import(row.kind), roles_at(request.user, row.site_id or 0))
    return {
        "row": row,
        "things": told,
        "words": WORDS[row.kind],
        "counts": counts,
        "errors": report.get("errors", [])[:TOLD],
        "warnings": report.get("warnings", [])[:TOLD],
        "errors_total": report.get("errors_total", 0),
        "warnings_total": report.get("warnings_total", 0),
        "told": TOLD,
        "notes": report.get("notes", []),
        "may_write": may_write and row.state == RegisterImport.State.CHECKED and not report.get("errors_total"),
        "doing": any(each["new"] or each["changed"] for each in told),
    }
