"""What is due: the planner's landing. Filters are remembered, the list is paged by key, and goes out as CSV."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, QueryDict, StreamingHttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_POST, require_safe

from assets_app.doors.context import sites_of, sites_where
from assets_app.doors.kept import Kept
from assets_app.doors.keys import as_key
from assets_app.inspections.models import Method
from assets_app.people.queries import require_first
from assets_app.refusals import Unprocessable
from assets_app.register.models import Site
from assets_app.templatetags.soundjoint import due_words
from schedules.due.life_data import Gathered, facts_of_rows
from schedules.due.list_counts import due_counts
from schedules.due.list_queries import DueFilter, DueRow, due_page, site_today
from schedules.due.models import Limit
from schedules.planning.due_rows import ShownRow, cells
from schedules.planning.season_data import WEEKS as STRIP_WEEKS
from schedules.planning.season_data import season_of
from schedules.planning.season_strip import season_strip
from schedules.planning.standing import Standing, in_the_way, standing_of
from schedules.work.orders import BY_PROGRAMME
from schedules.work.raising import raise_order_for_due_date

REMEMBERED = "due-filter"
WEEKS = [
    ("8", "in the next 8 weeks"),
    ("2", "in 2 weeks"),
    ("26", "in 26 weeks"),
    ("53", "in a year"),
    ("0", "any day"),
]
SOON_WEEKS = 8

_filters: Kept[SafeString] = Kept(128)  # the row of filters, about 6 KB each


class FilterForm(forms.Form):
    """The row above the list. A value that makes no sense is left out and said so."""

    weeks = forms.ChoiceField(label="Due", choices=WEEKS, required=False)
    site = forms.TypedChoiceField(label="Site", coerce=int, empty_value=None, required=False)
    asset = forms.CharField(label="Asset tag begins with", max_length=64, required=False)
    governing = forms.ChoiceField(label="Governed by", choices=[("", "any limit"), *Limit.choices], required=False)
    method = forms.ChoiceField(label="Method", choices=[("", "any method"), *Method.choices], required=False)
    sort = forms.ChoiceField(label="In order of", choices=[("", "due date"), ("asset", "asset")], required=False)
    overdue = forms.BooleanField(label="overdue only", required=False)
    unrated = forms.BooleanField(label="unrated only", required=False)
    unprotected = forms.BooleanField(label="unprotected only", required=False)

    def __init__(self, data: QueryDict, sites: list[Site]) -> None:
        super().__init__(data)
        self.fields["site"].choices = [("", "all my sites"), *((str(site.pk), site.name) for site in sites)]

    def asked(self, sites: list[Site], today: date) -> DueFilter:
        self.is_valid()
        told = self.cleaned_data
        return DueFilter(
            site_ids=[site.pk for site in sites],
            today=today,
            site_id=told.get("site"),
            asset=told.get("asset", ""),
            governing=told.get("governing", ""),
            method=told.get("method", ""),
            unrated=told.get("unrated", False),
            unprotected=told.get("unprotected", False),
            overdue=told.get("overdue", False),
            weeks=int(told.get("weeks") or SOON_WEEKS),
            by_asset=told.get("sort") == "asset",
        )


def _shown(rows: list[DueRow], sites: list[Site], now: datetime) -> list[ShownRow]:
    today, names = _days(sites, now), {site.pk: site.name for site in sites}
    facts, standings = facts_of_rows(rows, today=today), standing_of(rows, today=today)
    return [
        ShownRow(row, names[row.site_id], today[row.site_id], facts[row.programme_id], standings[row.programme_id])
        for row in rows
    ]


def _written(
    request: HttpRequest, rows: list[DueRow], standings: dict[int, Standing], sites: list[Site], today: dict[int, date]
) -> list[SafeString]:
    """The cells of each row."""
    if not rows:
        return []
    gathered, names, may_raise = (
        Gathered(rows, today),
        {s.pk: s.name for s in sites},
        sites_where(request, "order.raise"),
    )
    token = format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', get_token(request))
    return [
        cells(
            row,
            gathered,
            standings[row.programme_id],
            site=names[row.site_id],
            raise_form=token if row.site_id in may_raise else None,
            with_site=len(sites) > 1,
        )
        for row in rows
    ]


def _days(sites: list[Site], now: datetime) -> dict[int, date]:
    """Each site's day."""
    return {site.pk: site_today(site, now) for site in sites}


@require_safe
@login_required
def due(request: HttpRequest) -> HttpResponse:
    """The list, with the season strip above it."""
    if "reset" in request.GET:
        request.session.pop(REMEMBERED, None)
        return redirect("due")
    if not request.GET and request.session.get(REMEMBERED):
        return redirect(f"{reverse('due')}?{request.session[REMEMBERED]}")
    now, sites = timezone.now(), sites_of(request)
    days = _days(sites, now)
    today = min(days.values(), default=now.date())
    form = FilterForm(request.GET, sites)
    asked = form.asked(sites, today)
    page = due_page(asked, after=request.GET.get("after", ""))
    standings = standing_of(page.rows, today=days)
    shown_sites = [site for site in sites if asked.site_id in (None, site.pk)]
    counts = due_counts([site.pk for site in shown_sites], today=today, soon_weeks=SOON_WEEKS, weeks=STRIP_WEEKS)
    season = season_of(shown_sites, today=today, counts=counts)
    _remember(request)
    kept = _kept(request)
    context = {
        "filters": _filters_of(form, kept, sites),
        "rows": _written(request, page.rows, standings, sites, days),
        "counts": counts,
        "soon_weeks": SOON_WEEKS,
        "today": today,
        "in_the_way": in_the_way([standings[row.programme_id] for row in page.rows]),
        "strip": season_strip(season),
        "strip_narrow": season_strip(season, narrow=True),
        "kept": kept,
        "filtered": bool(kept),
        "next_url": _page_url(kept, page.after) if page.after else "",
        "first_url": _page_url(kept, "") if request.GET.get("after") else "",
        "sites": sites,
    }
    return render(request, "due/due.html", context)


def _filters_of(form: FilterForm, kept: str, sites: list[Site]) -> SafeString:
    """The row of filters, which costs as much as the rows below it; made from what was asked and the sites alone."""
    told = {"form": form, "filtered": bool(kept), "sites": sites}
    key = (kept, tuple((site.pk, site.name) for site in sites))
    return _filters.of(key, lambda: render_to_string("due/filters.html", told))


def _remember(request: HttpRequest) -> None:
    kept = _kept(request)
    if kept != request.session.get(REMEMBERED, ""):
        request.session[REMEMBERED] = kept


def _kept(request: HttpRequest) -> str:
    """The filters as asked, without the page and without empty ones."""
    kept = QueryDict(mutable=True)
    for name in FilterForm.base_fields:
        if request.GET.get(name):
            kept[name] = request.GET[name]
    return kept.urlencode()


def _page_url(kept: str, after: str) -> str:
    query = "&".join(part for part in (kept, f"after={after}" if after else "") if part)
    return f"{reverse('due')}?{query}" if query else reverse("due")


@require_POST
@login_required
def raise_order(request: HttpRequest) -> HttpResponse:
    """Raise the order for one look of the list, and come back to the list as it was filtered."""
    require_first(request.user, "order.raise", request.POST, BY_PROGRAMME)
    programme = as_key(request.POST.get("programme", ""))
    if programme is None:
        raise Unprocessable("unknown_programme", "Say for which look the order is.", field="programme")
    order = raise_order_for_due_date(programme_id=programme, actor=request.user, now=timezone.now())
    messages.success(request, f"Order {order.number} raised: {order.title}. Next: assign it and plan its day.")
    return redirect(_page_url(request.session.get(REMEMBERED, ""), ""))


# CSV ------------------------------------------------------------------------------------------------------------------

COLUMNS = [
    "site", "asset", "asset name", "joint", "joint name", "method", "due on", "state", "governing", "why", "next limit",
    "next on", "unrated", "missing", "unprotected", "held", "order", "order state", "waits",
]  # fmt: skip


class _Echo:
    def write(self, value: str) -> str:
        return value


def _cell(value: Any) -> str:
    """A cell as text; one that a spreadsheet would take for a formula is quoted."""
    text = "" if value is None else str(value)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def _csv_row(row: ShownRow) -> list[str]:
    due, standing = row.due, row.standing
    state = row.put_off_words or due_words(due.due_on, row.today, unrated=due.unrated, missing=row.missing).words
    cells = [
        row.site, due.asset_tag, due.asset_name, due.joint_tag, due.joint_name, due.method,
        due.due_on and due.due_on.isoformat(), state, due.governing, row.facts.sentence, due.next_limit,
        due.next_on and due.next_on.isoformat(), "yes" if due.unrated else "no",
        row.missing if due.unrated else "", "yes" if due.unprotected else "no",
        "yes" if standing.holds else "no", standing.order and standing.order.number, standing.order_words,
        standing.wait_words,
    ]  # fmt: skip
    return [_cell(cell) for cell in cells]


def _csv_rows(asked: DueFilter, sites: list[Site], now: datetime) -> Iterator[list[str]]:
    yield COLUMNS
    after = ""
    while True:
        page = due_page(asked, after=after, size=500)
        for row in _shown(page.rows, sites, now):
            yield _csv_row(row)
        after = page.after
        if not after:
            return


@require_safe
@login_required
def due_csv(request: HttpRequest) -> StreamingHttpResponse:
    """The filtered list as CSV, all of it, streamed in order."""
    now, sites = timezone.now(), sites_of(request)
    today = min(_days(sites, now).values(), default=now.date())
    asked = FilterForm(request.GET, sites).asked(sites, today)
    writer = csv.writer(_Echo())
    lines = (writer.writerow(row) for row in _csv_rows(asked, sites, now))
    name = f"due-{today.isoformat()}.csv"
    return StreamingHttpResponse(
        lines, content_type="text/csv; charset=utf-8", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
