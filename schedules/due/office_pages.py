"""The office's own choices as pages: policy with its history and what a change would move, tables with their status,
and how far a full recompute is."""

from __future__ import annotations

import tomllib
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from assets_app.doors.beside import beside
from assets_app.people import queries as people
from assets_app.people.rules import may
from assets_app.refusals import Refused, Unprocessable
from assets_app.register.models import Joint, Site
from engineering import tables
from engineering.errors import InputError
from schedules.due import actions, left_out, sweeps
from schedules.due.models import OfficeTable, Policy, Sweep
from schedules.due.policy_trial import try_policy


class PolicyForm(forms.ModelForm):
    reason = forms.CharField(label="Why it changes", widget=forms.Textarea(attrs={"rows": 2}), required=True)

    class Meta:
        model = Policy
        fields = [*actions.POLICY_FIELDS, "reason"]
        labels = {
            "damage_share_single": "Share of damage for the first detailed look, single load path",
            "damage_share_other": "The same, more than one load path",
            "looks_single": "Looks owed in a growth window, single load path",
            "looks_other": "The same, more than one load path",
            "detection_chance": "Chance with which a size counts as found",
            "watch_days": "Days between looks at a finding that is watched",
            "plan_repair_days": "Days to a planned repair",
            "repair_look_days": "Days to the first look after a repair",
            "bolt_recheck_days": "Days to the re-check of tightened bolts",
            "due_soon_days": "Days ahead that count as due soon",
            "lowest_service_c": "Lowest temperature of the steel in use, °C",
            "growth_law": "Growth law (row of the table; empty: the safe default)",
        }
        help_texts = dict.fromkeys(actions.POLICY_FIELDS, "")


class TableForm(forms.Form):
    text = forms.CharField(
        label="The table, as TOML", widget=forms.Textarea(attrs={"rows": 16, "spellcheck": "false", "class": "code"})
    )
    reason = forms.CharField(label="Why yours, and where it comes from", widget=forms.Textarea(attrs={"rows": 2}))


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def policy(request: HttpRequest, slug: str) -> HttpResponse:
    """A site's shares, looks and lead times: shown to all, tried and set by engineers."""
    site = _site(request, slug)
    history = list(Policy.objects.filter(site=site).select_related("set_by")[:20])
    standing = history[0] if history else Policy(site=site)
    form = PolicyForm(request.POST or None, initial={name: getattr(standing, name) for name in actions.POLICY_FIELDS})
    context: dict[str, Any] = {
        "site": site,
        "form": form,
        "history": history,
        "may_change": may("policy.change", people.roles_at(request.user, site.pk)),
    }
    status = 200
    if request.method == "POST":
        people.require(request.user, "policy.change", site.pk)
        if form.is_valid():
            answer = _policy_posted(request, site, form, standing, context)
            if answer is not None:
                return answer
        status = 200 if "trial" in context else 422
    return render(request, "due/policy.html", context, status=status)


def _policy_posted(
    request: HttpRequest, site: Site, form: PolicyForm, standing: Policy, context: dict[str, Any]
) -> HttpResponse | None:
    """Show what it moves; save only when the button says so."""
    given = {name: form.cleaned_data[name] for name in actions.POLICY_FIELDS}
    changes = {name: value for name, value in given.items() if value != getattr(standing, name)}
    now = timezone.now()
    if not changes:
        form.add_error(None, "Nothing is changed.")
        return None
    try:
        if "save" in request.POST:
            actions.set_policy(
                site_id=site.pk, actor=request.user, now=now, reason=form.cleaned_data["reason"], **changes
            )
            messages.success(request, "Saved. The dates of the site are being recomputed.")
            return redirect("policy", slug=site.slug)
        trial = try_policy(site, changes, now=now)
    except Refused as refused:
        beside(form, refused)
        return None
    joints = Joint.objects.select_related("asset").in_bulk([moved.joint_id for moved in trial.most])
    context |= {"trial": trial, "moved": [(joints.get(moved.joint_id), moved) for moved in trial.most]}
    return None


@require_safe
@login_required
def office_tables(request: HttpRequest) -> HttpResponse:
    """All tables of values with source, edition and status, and which sites replace them."""
    own: dict[str, list[OfficeTable]] = {}
    for row in _governing(request):
        own.setdefault(row.table, []).append(row)
    rows = [(tables.load(name), own.get(name, [])) for name in tables.shipped()]
    return render(request, "due/tables.html", {"rows": rows})


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def office_table(request: HttpRequest, slug: str, name: str) -> HttpResponse:
    """One table at one site: its rows with their status, and the office's own in its place."""
    site = _site(request, slug)
    if name not in tables.shipped():
        raise Unprocessable("unknown_table", f"There is no table {name!r}.")
    shipped = tables.load(name)
    own = next((row for row in _governing(request) if row.site_id == site.pk and row.table == name), None)
    form = TableForm(request.POST or None)
    if request.method == "POST":
        people.require(request.user, "table.replace", site.pk)
        if _table_posted(request, site, name, form):
            return redirect("office-table", slug=site.slug, name=name)
    governs = tables.build(name, own.data) if own else shipped
    columns = list(dict.fromkeys(key for row in governs.rows.values() for key in row.cells if key not in _SHOWN_APART))
    context = {
        "site": site,
        "name": name,
        "shipped": shipped,
        "own": own,
        "governs": governs,
        "columns": columns,
        "cells": [(row, [(name, row.get(name, "")) for name in columns]) for row in governs.rows.values()],
        "form": form,
        "may_change": may("table.replace", people.roles_at(request.user, site.pk)),
        "history": OfficeTable.objects.filter(site=site, table=name).select_related("set_by")[:20],
    }
    return render(request, "due/table.html", context, status=422 if form.errors else 200)


_SHOWN_APART = ("id", "source", "edition", "status")


def _table_posted(request: HttpRequest, site: Site, name: str, form: TableForm) -> bool:
    """Replace or restore; a refusal goes beside its field and what was typed stays."""
    now, reason = timezone.now(), request.POST.get("reason", "")
    try:
        if "restore" in request.POST:
            actions.restore_table(site_id=site.pk, table=name, reason=reason, actor=request.user, now=now)
            return True
        if not form.is_valid():
            return False
        data = tomllib.loads(form.cleaned_data["text"].replace("\r\n", "\n"))
        actions.replace_table(site_id=site.pk, table=name, data=data, reason=reason, actor=request.user, now=now)
    except tomllib.TOMLDecodeError as error:
        form.add_error("text", f"This is not TOML: {error}")
    except InputError as error:
        form.add_error("text", error.reason)
    except Refused as refused:
        form.is_valid()
        form.add_error({"data": "text"}.get(refused.field, "reason"), refused.message)
    return not form.errors


@require_safe
@login_required
def sweeps_page(request: HttpRequest) -> HttpResponse:
    """How far the full recomputes are."""
    mine = people.sites_of(request.user)
    shown = sweeps.newest(mine)
    running = any(row.state == Sweep.State.RUNNING for row, _ in shown)
    template = "due/sweeps_rows.html" if request.htmx else "due/sweeps.html"
    context = {"rows": shown, "running": running, "left_out": left_out.of_sites(mine)}
    return render(request, template, context)


def _site(request: HttpRequest, slug: str) -> Site:
    return get_object_or_404(people.sites_of(request.user), slug=slug)


def _governing(request: HttpRequest) -> list[OfficeTable]:
    """The office tables that govern now at the person's sites."""
    rows = OfficeTable.objects.filter(site__in=people.sites_of(request.user)).select_related("site", "set_by")
    newest: dict[tuple[int, str], OfficeTable] = {}
    for row in rows.order_by("set_at", "pk"):
        newest[row.site_id, row.table] = row
    return [row for row in newest.values() if not row.withdrawn]
