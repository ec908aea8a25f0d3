"""An asset's duty as a page: its counters, its seasons, and the stress spectrum of a joint."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from assets_app.doors.beside import attempt
from assets_app.doors.keys import as_key
from assets_app.people import queries as people
from assets_app.people.rules import may
from assets_app.refusals import Unprocessable
from assets_app.register.models import Asset, Joint
from schedules.duty import queries, setup
from schedules.duty.models import Counter, Season, StressSpectrum
from schedules.duty.open_days import Span

WEEKDAYS = [(str(place), day) for place, day in enumerate(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"))]


class CounterForm(forms.Form):
    name = forms.CharField(
        label="Name", max_length=64, help_text="As it is called at the asset, e.g. operating cycles."
    )
    unit = forms.ChoiceField(label="Counts", choices=Counter.Unit.choices)
    is_primary = forms.BooleanField(label="It drives the due dates", required=False, initial=True)
    rolls_over_at = forms.FloatField(label="Shows 0 again after", required=False, min_value=1)
    expected_every_days = forms.IntegerField(
        label="Read at least every, days", initial=14, min_value=1, max_value=3660,
        help_text="Not read for longer: forecast at its busiest rate.",
    )  # fmt: skip


class SeasonForm(forms.Form):
    name = forms.CharField(label="Name", max_length=64)
    opens = forms.DateField(label="Opens (any year)", widget=forms.DateInput(attrs={"type": "date"}))
    closes = forms.DateField(label="Closes (any year)", widget=forms.DateInput(attrs={"type": "date"}))
    weekdays = forms.MultipleChoiceField(
        label="Open on", choices=WEEKDAYS, widget=forms.CheckboxSelectMultiple, initial=[day for day, _ in WEEKDAYS]
    )
    whole_site = forms.BooleanField(label="For every asset of the site that has no season of its own", required=False)

    def span(self) -> Span:
        """Month and day are what counts, the year typed is not."""
        opens, closes = self.cleaned_data["opens"], self.cleaned_data["closes"]
        mask = "".join("1" if day in self.cleaned_data["weekdays"] else "0" for day, _ in WEEKDAYS)
        return Span(opens.month, opens.day, closes.month, closes.day, mask)


class SpectrumForm(forms.Form):
    bins = forms.CharField(
        label="Stress ranges by one count: MPa and how often, a line each",
        widget=forms.Textarea(attrs={"rows": 5, "class": "code", "spellcheck": "false"}),
        help_text="For example 60 1 and below it 30 4: one range of 60 MPa and four of 30 MPa by each count.",
    )
    kind = forms.ChoiceField(label="Stress", choices=[("direct", "direct"), ("shear", "shear")])
    peak_stress_mpa = forms.FloatField(
        label="Greatest tension, MPa", required=False, min_value=0, help_text="Without it crack growth stays unrated."
    )
    bending_share = forms.FloatField(label="Share that is bending, 0 to 1", initial=0.0, min_value=0, max_value=1)
    status = forms.ChoiceField(label="Status", choices=StressSpectrum.Status.choices, initial="assumed")
    source = forms.CharField(label="Who says so, in which document", max_length=200)
    valid_from = forms.DateField(label="Valid from", widget=forms.DateInput(attrs={"type": "date"}))

    def clean_bins(self) -> list[list[float]]:
        pairs = []
        for number, line in enumerate(self.cleaned_data["bins"].splitlines(), start=1):
            words = line.replace(";", " ").replace("×", " ").split()
            if not words:
                continue
            try:
                pairs.append([float(word.replace(",", ".")) for word in words])
            except ValueError as error:
                raise forms.ValidationError(f"Line {number}: write two figures, like 60 1.") from error
            if len(words) != 2:
                raise forms.ValidationError(f"Line {number}: write two figures, range and count, like 60 1.")
        return pairs


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def asset_duty(request: HttpRequest, pk: int) -> HttpResponse:
    """Counters and seasons of an asset: what there is, and forms for those who may change them."""
    asset = get_object_or_404(Asset.objects.select_related("site"), pk=pk, site__in=people.sites_of(request.user))
    roles, now = people.roles_at(request.user, asset.site_id), timezone.now()
    counter_form, season_form = CounterForm(), SeasonForm()
    failed = False
    if request.method == "POST":
        deed = request.POST.get("deed", "")
        people.require(request.user, "counter.change" if deed == "counter" else "season.change", asset.site_id)
        if deed == "counter":
            counter_form = CounterForm(request.POST)
            done = attempt(
                counter_form, lambda given: setup.add_counter(asset_id=pk, actor=request.user, now=now, **given)
            )
        elif deed == "season":
            season_form = SeasonForm(request.POST)
            done = attempt(season_form, lambda given: _add_season(request, asset, season_form, now))
        else:
            done = _remove_season(request, now)
        if done:
            return redirect("asset-duty", pk=pk)
        failed = True
    own = list(Season.objects.filter(asset=asset))
    context = {
        "asset": asset,
        "counters": [(each, queries.latest(each.pk)) for each in asset.counters.order_by("-is_primary", "name")],
        "own_seasons": own,
        "site_seasons": [] if own else list(Season.objects.filter(site=asset.site, asset=None)),
        "season_words": queries.seasons_in_words(asset),
        "counter_form": counter_form,
        "season_form": season_form,
        "may_counter": may("counter.change", roles),
        "may_season": may("season.change", roles),
    }
    return render(request, "duty/asset_duty.html", context, status=422 if failed else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def spectrum(request: HttpRequest, pk: int) -> HttpResponse:
    """How hard one count works a joint: the spectrum that governs, its history, and a form for the engineer."""
    joints = Joint.objects.select_related("asset__site")
    joint = get_object_or_404(joints, pk=pk, asset__site__in=people.sites_of(request.user))
    today = people.day_at(joint.asset.site, timezone.now())
    form = SpectrumForm(request.POST or None, initial={"valid_from": today.isoformat()})
    if request.method == "POST":
        people.require(request.user, "spectrum.change", joint.asset.site_id)
        done = attempt(
            form, lambda given: setup.add_spectrum(joint_id=pk, actor=request.user, now=timezone.now(), **given)
        )
        if done:
            messages.success(request, "Stored. Rating and dates of this joint follow.")
            return redirect("joint", pk=pk)
    rows = list(StressSpectrum.objects.filter(joint=joint).select_related("created_by").order_by("-valid_from", "-pk"))
    context = {
        "joint": joint,
        "asset": joint.asset,
        "rows": rows,
        "governs": next((row for row in rows if row.valid_from <= today), None),
        "form": form,
        "may_change": may("spectrum.change", people.roles_at(request.user, joint.asset.site_id)),
        "counter": joint.asset.counters.filter(is_primary=True).first(),
    }
    return render(request, "duty/spectrum.html", context, status=422 if form.errors else 200)


def _add_season(request: HttpRequest, asset: Asset, form: SeasonForm, now: Any) -> Season:
    return setup.add_season(
        site_id=asset.site_id,
        asset_id=None if form.cleaned_data["whole_site"] else asset.pk,
        name=form.cleaned_data["name"],
        span=form.span(),
        actor=request.user,
        now=now,
    )


def _remove_season(request: HttpRequest, now: Any) -> bool:
    season_id = as_key(request.POST.get("season", ""))
    if season_id is None:
        raise Unprocessable("unknown_season", "Say which season is to be removed.", field="season")
    setup.remove_season(season_id=season_id, actor=request.user, now=now)
    return True
