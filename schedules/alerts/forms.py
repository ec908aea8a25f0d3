"""Forms of the pages of rules, webhooks and settings: shape only, the actions decide."""

from __future__ import annotations

from django import forms

from assets_app.people.models import RoleName
from schedules.alerts import webhook_actions
from schedules.alerts.models import LONGEST_DAYS, AlertSettings, Intent

ALL_ROLES = [("", "all roles: the lead time"), *RoleName.choices]
HOURS = [(hour, f"{hour:02d}:00") for hour in range(24)]
REASON = forms.Textarea(attrs={"rows": 2})


class RuleForm(forms.Form):
    kind = forms.ChoiceField(label="Alert", choices=Intent.Kind.choices)
    role = forms.ChoiceField(label="For", choices=ALL_ROLES, required=False)
    in_app = forms.BooleanField(label="In the app", required=False, initial=True)
    email = forms.BooleanField(label="By email, and so in the app too", required=False, initial=True)
    days = forms.IntegerField(
        label="Days",
        required=False,
        min_value=1,
        max_value=LONGEST_DAYS,
        help_text="For all roles: days before. Overdue for long: days overdue until this role is told.",
    )
    reason = forms.CharField(label="Why it changes", widget=REASON)


class WebhookForm(forms.Form):
    url = forms.CharField(label="Address of the receiver", max_length=webhook_actions.LONGEST_URL)
    kinds = forms.MultipleChoiceField(
        label="Alerts; none ticked is all",
        choices=Intent.Kind.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )


class SettingsForm(forms.Form):
    quiet_from = forms.TimeField(label="Quiet from", required=False, widget=forms.TimeInput(attrs={"type": "time"}))
    quiet_until = forms.TimeField(label="Quiet until", required=False, widget=forms.TimeInput(attrs={"type": "time"}))
    digest = forms.ChoiceField(label="Emails come", choices=AlertSettings.Digest.choices)
    digest_hour = forms.TypedChoiceField(label="Once a day: at", choices=HOURS, coerce=int)
    time_zone = forms.CharField(label="Time zone", required=False, max_length=64)
