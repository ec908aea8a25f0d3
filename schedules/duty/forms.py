"""Forms of duty's pages. Times typed are on the site's clock."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from django import forms

from assets_app.refusals import Refused
from schedules.duty.clock import on_site_clock


class _OnSiteClock(forms.Form):
    """A form with a time on the site's clock; ``told`` says how a time that came twice was taken."""

    def __init__(self, *args, zone: ZoneInfo, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone
        self.told = ""

    def clean_read_at(self) -> datetime:
        typed = self.cleaned_data["read_at"]
        try:
            told = on_site_clock(typed.replace(tzinfo=None), self.zone)
        except Refused as refused:
            raise forms.ValidationError(refused.message, code=refused.code) from refused
        self.told = told.note
        return told.at


class LocalTime(forms.DateTimeField):
    """What was typed, before any clock is put to it."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def to_python(self, value: object) -> datetime | None:
        if value in self.empty_values or isinstance(value, datetime):
            return value or None  # type: ignore[return-value]
        try:
            return datetime.fromisoformat(str(value).strip())
        except ValueError as error:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from error

    def prepare_value(self, value: object) -> object:
        return value


def _figure(label: str) -> forms.FloatField:
    return forms.FloatField(label=label, widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))


class ReadingForm(_OnSiteClock):
    value = _figure("What the counter shows")
    read_at = LocalTime(label="Read at", help_text="On the site's clock.")
    note = forms.CharField(label="Note", max_length=200, required=False)
    confirmed = forms.BooleanField(
        label="I looked again: the figure is right", required=False, widget=forms.HiddenInput
    )

    def ask_to_confirm(self) -> None:
        """Show the tick that lets an unlikely figure through."""
        self.fields["confirmed"].widget = forms.CheckboxInput()


class ExchangeForm(_OnSiteClock):
    closing_value = _figure("What the old meter showed last")
    opening_value = _figure("What the new meter shows first")
    read_at = LocalTime(label="Exchanged at", help_text="On the site's clock.")
    note = forms.CharField(label="Note", max_length=200, required=False)


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="Why is it wrong?", max_length=500)


class FileForm(forms.Form):
    site = forms.ModelChoiceField(queryset=None, label="Site", empty_label=None)
    file = forms.FileField(label="CSV file", widget=forms.FileInput(attrs={"accept": ".csv,text/csv"}))
    dry_run = forms.BooleanField(label="Only check it, write nothing", required=False)

    def __init__(self, *args, sites, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites
