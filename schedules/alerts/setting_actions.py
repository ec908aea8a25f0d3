"""What a site and a person decide about alerts: who hears of what, when emails come, and links to a calendar."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, time
from typing import Any
from zoneinfo import available_timezones

from django.db import transaction
from django.forms.models import model_to_dict

from assets_app.people.models import Person, RoleName
from assets_app.people.queries import require, sites_of
from assets_app.record.actions import append
from assets_app.refusals import Conflict, NotFound, Unprocessable
from schedules.alerts import rules, times
from schedules.alerts.models import (
    LONGEST_DAYS,
    AlertRule,
    AlertSettings,
    CalendarLink,
    Delivery,
    Intent,
)
from schedules.alerts.personal import Clocks

RULE_FIELDS = ("kind", "role", "in_app", "email", "is_on", "days")
MOST_LINKS = 5
TOKEN_BYTES = 32


@transaction.atomic
def set_rule(
    *,
    site_id: int,
    kind: str,
    reason: str,
    actor: Person,
    now: datetime,
    role: str = "",
    in_app: bool = True,
    email: bool = True,
    is_on: bool = True,
    days: int | None = None,
) -> AlertRule:
    """Set who hears of a kind, or (without a role) its lead time. Adds a row, the old ones stay as history. What is
    told by email is told in the app too.

    Refusals: ``not_found``, ``role_lacks_right``, ``reason_missing``, ``unknown_kind``, ``unknown_role``,
    ``lead_needed``, ``no_lead``, ``days_out_of_range``, ``step_without_days``, ``holds_are_told``.
    """
    require(actor, "people.change", site_id)
    if not reason.strip():
        raise Unprocessable("reason_missing", "Say why the rule changes.", field="reason")
    in_app = in_app or email
    _check_rule(kind, role, at_all=is_on and in_app, days=days)
    rule = AlertRule.objects.create(
        site_id=site_id,
        kind=kind,
        role=role,
        in_app=in_app,
        email=email,
        is_on=is_on,
        days=days,
        reason=reason.strip(),
        set_by=actor,
        set_at=now,
    )
    content = {**model_to_dict(rule, RULE_FIELDS), "reason": rule.reason}
    append(site_id=site_id, deed="alert_rule.set", actor=actor, subject=rule, content=content, now=now)
    return rule


def _check_rule(kind: str, role: str, *, at_all: bool, days: int | None) -> None:
    if kind not in Intent.Kind.values:
        raise Unprocessable("unknown_kind", f"There is no alert {kind!r}.", field="kind")
    if role and role not in RoleName.values:
        raise Unprocessable("unknown_role", f"There is no role {role!r}.", field="role")
    if days is not None and not 1 <= days <= LONGEST_DAYS:
        raise Unprocessable("days_out_of_range", f"Give 1 to {LONGEST_DAYS} days.", field="days")
    if not role and kind not in rules.LEADS:
        raise Unprocessable("no_lead", "This alert has no lead time: say which role hears of it.", field="role")
    is_step = bool(role) and kind == rules.ESCALATED
    if role and not is_step and days is not None:
        raise Unprocessable(
            "no_lead", "The lead time belongs to the alert, for all roles: leave the role out.", field="days"
        )
    if is_step and at_all and days is None and role not in rules.STEPS:
        raise Unprocessable("step_without_days", "Say after how many days overdue this role is told.", field="days")
    if kind == rules.HOLD_PLACED and role in rules.HEARS[kind] and not at_all:
        raise Unprocessable(
            "holds_are_told", "Whoever works here must see what is held: in-app stays on.", field="in_app"
        )


# --- a person's own ---------------------------------------------------------------------------------------------------


@transaction.atomic
def set_settings(
    *,
    actor: Person,
    now: datetime,
    time_zone: str = "",
    quiet_from: time | None = None,
    quiet_until: time | None = None,
    digest: str = AlertSettings.Digest.AT_ONCE,
    digest_hour: int = 7,
) -> AlertSettings:
    """When emails reach me; what waits already is given its new time.

    Refusals: ``unknown_time_zone``, ``quiet_half_given``, ``quiet_all_day``, ``unknown_digest``, ``hour_out_of_range``,
    ``digest_in_quiet_hours``.
    """
    _check_times(time_zone, quiet_from, quiet_until, digest, digest_hour)
    given = {
        "time_zone": time_zone,
        "quiet_from": quiet_from,
        "quiet_until": quiet_until,
        "digest": digest,
        "digest_hour": digest_hour,
    }
    settings, _ = AlertSettings.objects.update_or_create(person=actor, defaults=given)
    _retime(actor, now)
    return settings


def _check_times(time_zone: str, begins: time | None, ends: time | None, digest: str, hour: int) -> None:
    if time_zone and time_zone not in available_timezones():
        raise Unprocessable("unknown_time_zone", f"There is no time zone {time_zone!r}.", field="time_zone")
    if (begins is None) != (ends is None):
        field = "quiet_from" if begins is None else "quiet_until"
        raise Unprocessable("quiet_half_given", "Quiet hours need a beginning and an end.", field=field)
    if begins is not None and begins == ends:
        raise Unprocessable(
            "quiet_all_day", "That would be quiet all day: no email would ever come.", field="quiet_until"
        )
    if digest not in AlertSettings.Digest.values:
        raise Unprocessable("unknown_digest", "Choose at once, or once a day.", field="digest")
    if not 0 <= hour <= 23:
        raise Unprocessable("hour_out_of_range", "The hour is 0 to 23.", field="digest_hour")
    daily = digest == AlertSettings.Digest.DAILY
    if daily and begins is not None and ends is not None and times.within_quiet(hour, begins, ends):
        raise Unprocessable("digest_in_quiet_hours", "That hour lies within your quiet hours.", field="digest_hour")


def _retime(actor: Person, now: datetime) -> None:
    """Emails that were not yet tried come when the new settings say; holds that were placed at once."""
    clocks = Clocks(of=actor.pk)
    waiting = Delivery.objects.filter(person=actor, channel=Delivery.Channel.EMAIL, state=Delivery.State.OWED, batch="")
    waiting = waiting.exclude(intent__kind__in=rules.BREAKS_THROUGH)
    zones = waiting.order_by().values_list("intent__site__pk", "intent__site__time_zone").distinct()
    for site_id, zone in list(zones):
        allowed = clocks.next_allowed(actor.pk, zone, now)
        waiting.filter(intent__site=site_id).update(next_try_at=allowed)


@transaction.atomic
def make_calendar_link(*, actor: Person, now: datetime) -> tuple[CalendarLink, str]:
    """A private link; its token is told here and never again. Refusal: ``too_many_links``."""
    Person.objects.select_for_update().get(pk=actor.pk)
    if CalendarLink.objects.filter(person=actor, revoked_at=None).count() >= MOST_LINKS:
        raise Conflict("too_many_links", f"You have {MOST_LINKS} links; revoke one first.")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    return CalendarLink.objects.create(person=actor, token_hash=token_hash(token), made_at=now), token


def revoke_calendar_link(*, actor: Person, now: datetime, link_id: int) -> None:
    """From now on the link leads nowhere. Somebody else's is ``not_found``."""
    mine = CalendarLink.objects.filter(pk=link_id, person=actor)
    if not mine.exists():
        raise NotFound("not_found", "There is no such link of yours.")
    mine.filter(revoked_at=None).update(revoked_at=now)


def end_calendar_links(*, person: Person, now: datetime) -> None:
    """All of a person's links, for good, in the transaction of the deed that shut the account."""
    CalendarLink.objects.filter(person=person, revoked_at=None).update(revoked_at=now)


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def shown(settings: AlertSettings | None) -> dict[str, Any]:
    """A person's settings as plain values; the defaults where none were made."""
    row = settings or AlertSettings()
    return {name: getattr(row, name) for name in "time_zone quiet_from quiet_until digest digest_hour".split()}


def clock_of(actor: Person) -> str:
    """The time zone that stands where the person names none: that of the first site."""
    site = sites_of(actor).first()
    return site.time_zone if site else "UTC"
