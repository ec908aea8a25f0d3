"""The pages of the register: assets, joints' entries, imports."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from assets_app.doors.beside import beside
from assets_app.doors.keys import as_key
from assets_app.people import rules as people_rules
from assets_app.people.models import Role
from assets_app.people.queries import BY_SITE, require, require_first, roles_at
from assets_app.refusals import Refused
from assets_app.register import actions, import_pages, queries
from assets_app.register.forms import AssetForm, JointForm
from assets_app.register.models import Asset, Joint

SHOWN = 100
ABLE = people_rules.MAY["register.change"]


@require_safe
@login_required
def assets(request: HttpRequest) -> HttpResponse:
    """The register, site by site."""
    rows = queries.with_counts(queries.assets_in_sight(request.user)).select_related("site")
    asked = {name: request.GET.get(name, "").strip() for name in ("site", "kind", "status", "find")}
    if (site_id := as_key(asked["site"])) is not None:
        rows = rows.filter(site_id=site_id)
    if asked["kind"] in Asset.Kind.values:
        rows = rows.filter(kind=asked["kind"])
    if asked["status"] in Asset.Status.values:
        rows = rows.filter(status=asked["status"])
    if asked["find"]:
        rows = rows.filter(Q(tag__icontains=asked["find"]) | Q(name__icontains=asked["find"]))
    shown, next_url = _page(request, rows.order_by("tag", "id"), asked)
    context = {
        "rows": shown,
        "next_url": next_url,
        "first_url": request.path if "after" in request.GET else "",
        "asked": asked,
        "filtered": any(asked.values()),
        "kinds": Asset.Kind.choices,
        "statuses": Asset.Status.choices,
        "may_change": Role.objects.filter(person=request.user, name__in=ABLE).exists(),
    }
    return render(request, "register/assets.html", context)


def _page(request: HttpRequest, rows: QuerySet[Any], asked: dict[str, str]) -> tuple[list[Any], str]:
    """Rows after the one named by ``after``, and the address of those that follow: by key, never by number."""
    tag, found, number = request.GET.get("after", "").rpartition("~")
    if found and (pk := as_key(number)) is not None:
        rows = rows.filter(Q(tag__gte=tag) & (Q(tag__gt=tag) | Q(pk__gt=pk)))
    page = list(rows[: SHOWN + 1])
    if len(page) <= SHOWN:
        return page, ""
    last = page[SHOWN - 1]
    kept = {name: value for name, value in asked.items() if value} | {"after": f"{last.tag}~{last.pk}"}
    return page[:SHOWN], f"{request.path}?{urlencode(kept)}"


@require_safe
@login_required
def asset(request: HttpRequest, pk: int) -> HttpResponse:
    """One asset: what it is, and its joints."""
    found = queries.one(queries.assets_in_sight(request.user).select_related("site"), pk)
    asked = {"find": request.GET.get("find", "").strip()}
    joints = queries.joints_with_findings(found.joints.select_related("member", "other_member", "weld", "bolt_group"))
    if asked["find"]:
        joints = joints.filter(Q(tag__icontains=asked["find"]) | Q(name__icontains=asked["find"]))
    shown, next_url = _page(request, joints.order_by("tag", "id"), asked)
    context = {
        "asset": found,
        "joints": shown,
        "asked": asked,
        "next_url": next_url,
        "first_url": request.path if "after" in request.GET else "",
        "members": found.members.all()[:SHOWN],
        "may_change": people_rules.may("register.change", roles_at(request.user, found.site_id)),
    }
    return render(request, "register/asset.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def asset_new(request: HttpRequest) -> HttpResponse:
    """A new asset."""
    able = Role.objects.filter(person=request.user, name__in=ABLE).values_list("site_id", flat=True)
    form = AssetForm(request.POST or None, sites=list(able))
    status = 200
    if request.method == "POST":
        require_first(request.user, "register.change", request.POST, BY_SITE)
        status = 422
        if form.is_valid():
            given = dict(form.cleaned_data)
            site = given.pop("site")
            try:
                made = actions.create_asset(site_id=site.pk, actor=request.user, now=timezone.now(), **given)
            except Refused as refused:
                status = beside(form, refused)
            else:
                messages.success(request, f"{made.tag} added.")
                return redirect("asset", pk=made.pk)
    return render(request, "register/asset_form.html", {"form": form, "title": "A new asset"}, status=status)


@login_required
@require_http_methods(["GET", "POST"])
def asset_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Change an asset."""
    found = queries.one(queries.assets_in_sight(request.user).select_related("site"), pk)
    form = AssetForm(request.POST or None, asset=found)
    status = 200
    if request.method == "POST":
        require(request.user, "register.change", found.site_id)
        status = 422
        if form.is_valid():
            try:
                actions.change_asset(asset_id=pk, actor=request.user, now=timezone.now(), **form.cleaned_data)
            except Refused as refused:
                status = beside(form, refused)
            else:
                messages.success(request, "Written. The due dates follow.")
                return redirect("asset", pk=pk)
    context = {"form": form, "asset": found, "title": f"Change {found.tag}"}
    return render(request, "register/asset_form.html", context, status=status)


@login_required
@require_http_methods(["GET", "POST"])
def joint_new(request: HttpRequest, pk: int) -> HttpResponse:
    """A new joint of an asset: ``?kind=weld`` or ``?kind=bolted``."""
    found = queries.one(queries.assets_in_sight(request.user).select_related("site"), pk)
    kind = request.GET.get("kind", "")
    kind = kind if kind in Joint.Kind.values else Joint.Kind.WELD.value
    form = JointForm(request.POST or None, asset=found, kind=kind)
    return _joint_page(request, form, found, None, f"A new {'weld' if kind == 'weld' else 'bolted joint'}")


@login_required
@require_http_methods(["GET", "POST"])
def joint_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what the register knows of a joint."""
    joint = queries.one(queries.joints_in_sight(request.user).select_related("asset__site"), pk)
    form = JointForm(request.POST or None, asset=joint.asset, kind=joint.kind, joint=joint)
    return _joint_page(request, form, joint.asset, joint, f"Change {joint.tag}")


def _joint_page(request: HttpRequest, form: JointForm, asset: Asset, joint: Joint | None, title: str) -> HttpResponse:
    status = 200
    if request.method == "POST":
        require(request.user, "register.change", asset.site_id)
        status = 422
        if form.is_valid():
            deed = {"actor": request.user, "now": timezone.now(), **form.given()}
            try:
                if joint is None:
                    joint = actions.create_joint(asset_id=asset.pk, kind=form.kind, **deed)
                else:
                    actions.change_joint(joint_id=joint.pk, **deed)
            except Refused as refused:
                status = beside(form, refused)
            else:
                messages.success(request, f"{joint.tag} written. Its due dates follow.")
                return redirect("joint", pk=joint.pk)
    context = {"form": form, "asset": asset, "joint": joint, "title": title}
    return render(request, "register/joint_form.html", context, status=status)


urlpatterns = [
    path("assets/", assets, name="assets"),
    path("assets/new/", asset_new, name="asset-new"),
    path("assets/<int:pk>/", asset, name="asset"),
    path("assets/<int:pk>/change/", asset_change, name="asset-change"),
    path("assets/<int:pk>/joints/new/", joint_new, name="joint-new"),
    path("joints/<int:pk>/change/", joint_change, name="joint-change"),
    path("imports/", import_pages.imports, name="imports"),
    path("imports/templates/<slug:kind>.csv", import_pages.template, name="import-template"),
    path("imports/<int:pk>/", import_pages.one_import, name="import"),
    path("imports/<int:pk>/progress/", import_pages.progress, name="import-progress"),
    path("imports/<int:pk>/write/", import_pages.write, name="import-write"),
]
