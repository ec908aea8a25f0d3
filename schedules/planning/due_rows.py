"""The rows of the due list as HTML, written as drawings are: a template took five times as long for fifty of them.

Every word that people typed goes through ``format_html``. What is written of a row is kept by all that it is written
from, which is read anew for every page: a row is written again once any of it has changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.template.defaultfilters import truncatechars
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from assets_app.doors.kept import Kept
from assets_app.templatetags.soundjoint import due_state, severity
from schedules.due.life_data import Gathered, RowFacts
from schedules.due.life_line import small_life_line
from schedules.due.list_queries import DueRow
from schedules.planning.standing import Standing
from schedules.planning.standing_orders import OpenOrder

NOTHING = SafeString("")
NO_ORDER = SafeString('<span class="muted">no order yet</span>')
HELD_WORDS = 80  # letters of a reason that a row has room for


ROWS_KEPT = 1024  # rows of the list, about 6 KB each


@dataclass(frozen=True)
class ShownRow:
    """One row as the page and the CSV show it."""

    due: DueRow
    site: str
    today: date
    facts: RowFacts
    standing: Standing

    @property
    def missing(self) -> str:
        return " and ".join(self.facts.missing) + " not known" if self.facts.missing else "a figure is missing"

    @property
    def put_off_words(self) -> str:
        """``put off until 4 Jul 2026``; empty where no signature covers all that asks for the look."""
        told = self.standing.put_off
        return f"put off until {_day(told.until)}" if told else ""


class _Written(NamedTuple):
    """What of a row changes only with its due date's facts: the first cells, and the form that raises its order."""

    cells: SafeString
    before_token: SafeString
    after_token: SafeString


_written: Kept[_Written] = Kept(ROWS_KEPT)


def cells(
    due: DueRow,
    gathered: Gathered,
    standing: Standing,
    *,
    site: str,
    raise_form: SafeString | None,
    with_site: bool,
) -> SafeString:
    """The five cells of a row. ``raise_form``: the CSRF field where the person may raise an order here."""
    today = gathered.days[due.site_id]
    written = _written.of(
        (gathered.key(due), site, with_site, standing.put_off),
        lambda: _write(ShownRow(due, site, today, gathered.facts(due), standing), with_site),
    )
    held = format_html_join("", '<p>{} <span class="small">{}</span></p>', _held(standing)) if standing.holds else ""
    if standing.order:
        order = _order(standing.order, today)
    elif raise_form is None:
        order = NO_ORDER
    else:
        order = SafeString(written.before_token + raise_form + written.after_token)
    return SafeString(f'{written.cells}<td data-label="Order">{held}{order}</td>')


def _write(row: ShownRow, with_site: bool) -> _Written:
    first = format_html(
        '<td data-label="">{}</td><th scope="row" data-label="">{}</th><td data-label="Why then">{}</td>'
        '<td data-label="Life line" class="due-small">{}</td>',
        _state(row),
        _where(row, with_site),
        _why(row),
        small_life_line(row.facts.life).svg,
    )
    return _Written(first, *_raise_order(row.due))


def _state(row: ShownRow) -> SafeString:
    """How it stands, and its day; what was put off says so by word and keeps the day on which it was due."""
    due, later = row.due, row.standing.put_off
    if later is None:
        day = format_html('<br><span class="small muted number">{}</span>', _weekday(due.due_on)) if due.due_on else ""
        return due_state(due.due_on, row.today, due.unrated, row.missing) + day
    assert due.due_on is not None
    why = f"order {later.repair}: {later.reason}" if later.repair else ""
    return format_html(
        '<span class="due" data-state="put off">{}</span><br>'
        '<span class="small muted">{} <span class="number">{}</span></span>{}',
        row.put_off_words,
        "was due" if due.due_on < row.today else "due",
        _weekday(due.due_on),
        format_html('<br><span class="small">{}</span>', truncatechars(why, HELD_WORDS)) if why else NOTHING,
    )


def _weekday(day: date) -> str:
    return f"{day:%a} {_day(day)}"


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _where(row: ShownRow, with_site: bool) -> SafeString:
    due = row.due
    where = due.asset_name + (f", {due.joint_name}" if due.joint_name else "") + (f" · {row.site}" if with_site else "")
    return format_html(
        '<a href="{}">{} / {}</a> <span class="number">{}</span><br><span class="small muted">{}</span>',
        reverse("joint", args=[due.joint_id]),
        due.asset_tag,
        due.joint_tag,
        due.method,
        where,
    )


def _why(row: ShownRow) -> SafeString:
    due, notes = row.due, [format_html('<p class="why">{}</p>', row.facts.sentence)]
    note = '<p class="small"><span class="due" data-state="{}">{}</span></p>'
    if due.unrated and due.due_on:
        notes.append(format_html(note, "unrated", f"unrated: {row.missing}"))
    if due.unprotected:
        notes.append(format_html(note, "unprotected", f"unprotected by {due.method}"))
    if due.next_on:
        notes.append(format_html('<p class="small muted">Then {}, {}.</p>', due.next_limit, _day(due.next_on)))
    return SafeString("".join(notes))


def _held(standing: Standing) -> list[tuple[SafeString, str]]:
    return [(severity("hold now", "held"), truncatechars(hold.reason, HELD_WORDS)) for hold in standing.holds]


def _order(order: OpenOrder, today: date) -> SafeString:
    parts = [
        format_html(
            '<p><a href="{}">order {}</a>: {}</p>', reverse("order", args=[order.pk]), order.number, order.words
        )
    ]
    if order.wait_words:
        parts.append(format_html('<p class="wait small">{}</p>', order.wait_words))
    if order.put_off_until:
        passed = "was " if order.put_off_until < today else ""
        reason = truncatechars(order.put_off_reason or "", HELD_WORDS)
        words = f"{passed}put off until {_day(order.put_off_until)}: {reason}"
        parts.append(format_html('<p class="wait small">{}</p>', words))
    return SafeString("".join(parts))


def _raise_order(due: DueRow) -> tuple[SafeString, SafeString]:
    """The form that raises the order of a look, before and after its token, which is another one in every answer."""
    before = format_html('<form method="post" action="{}" class="no-print">', reverse("due-raise"))
    after = format_html(
        '<input type="hidden" name="programme" value="{}">'
        '<button class="button">Raise order<span class="visually-hidden"> for {} of {}</span></button></form>'
        '<span class="print-only">no order yet</span>',
        due.programme_id,
        due.method,
        due.joint_tag,
    )
    return before, after
