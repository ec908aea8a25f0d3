"""Writes of readings. Counters, seasons and spectra are set up in ``setup.py``.

Every deed locks the counter, stores, refits its forecast and tells the floors above (``events.duty_changed``) in one
transaction. Plain readings leave no entry in the record: each row keeps who posted it, when and from where, and there
are too many. An exchange of the meter, a withdrawal and a file leave one.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from django.db import transaction

from assets_app.people import queries as people
from assets_app.people.models import Person
from assets_app.record import actions as record
from assets_app.record.queries import came_first
from assets_app.refusals import NotFound, Refused, Unprocessable
from engineering.figures import grouped
from schedules.duty import events, meter, queries, rules, second
from schedules.duty.meter import Bounds, Shown
from schedules.duty.models import Counter, CounterForecast, Reading
from schedules.duty.open_days import Span, open_mask


class Entry(NamedTuple):
    """One reading of many; ``row`` is where it stood in what was sent."""

    row: int
    counter_id: int
    value: float
    read_at: datetime
    note: str = ""
    confirmed: bool = False


class Report(NamedTuple):
    """What came of many readings: all were posted, or none."""

    posted: int
    already_there: int
    errors: list[dict[str, Any]]
    notes: list[dict[str, Any]]
    dry_run: bool


class Chain:
    """All readings of one locked counter in order of time, as the next one is judged against them."""

    def __init__(self, counter: Counter) -> None:
        self.counter = counter
        self.asset = counter.asset
        self.zone = ZoneInfo(self.asset.site.time_zone)
        self.seasons: list[Span] = queries.seasons_of(self.asset)
        forecast = CounterForecast.objects.filter(counter=counter).first()
        self.busiest: float | None = forecast.parameters.get("busiest") if forecast else None
        rows = counter.readings.order_by("read_at").values_list("read_at", "value", "total", "closing_value")
        self.shown = [Shown(at, self.day_in_words(at), value, total, closing) for at, value, total, closing in rows]
        self.counted_anew_from: date | None = None  # the first day whose count is another now

    def day_in_words(self, at: datetime) -> str:
        return f"{at.astimezone(self.zone):%-d %B %Y}"

    def around(self, at: datetime) -> tuple[Shown | None, Shown | None, Shown | None]:
        """The readings before, at and after a moment."""
        place = bisect_left(self.shown, at, key=lambda shown: shown.at)
        same = self.shown[place] if place < len(self.shown) and self.shown[place].at == at else None
        after = place + (same is not None)
        return (
            self.shown[place - 1] if place else None,
            same,
            self.shown[after] if after < len(self.shown) else None,
        )

    def bounds(self, before: Shown | None, at: datetime) -> Bounds:
        """Greatest count since ``before`` that needs no confirmation; no limit while readings are few."""
        if before is None or self.busiest is None or len(self.shown) < rules.FEW_READINGS:
            return Bounds(self.counter.rolls_over_at, None)
        first, last = (moment.astimezone(self.zone).toordinal() for moment in (before.at, at))
        days = max(1, int(np.count_nonzero(open_mask(self.seasons, first, last - first + 1))))
        return Bounds(self.counter.rolls_over_at, meter.JUMP * self.busiest * days)

    def add(self, shown: Shown) -> None:
        """Take a reading in: from the one before it on, days are counted by it."""
        before, _, _ = self.around(shown.at)
        since = before.at.astimezone(self.zone).date() if before else date.min
        self.counted_anew_from = min(since, self.counted_anew_from or since)
        self.shown.insert(bisect_left(self.shown, shown.at, key=lambda other: other.at), shown)

    def points(self) -> list[rules.Point]:
        return queries.points_of(((shown.at, shown.total) for shown in self.shown), self.zone)


def post_reading(
    *,
    counter_id: int,
    value: float,
    read_at: datetime,
    actor: Person,
    now: datetime,
    source: str,
    note: str = "",
    confirmed: bool = False,
) -> Reading:
    """Store what a counter shows. The same figure for the same moment again changes nothing and returns the first.

    ``confirmed`` lets through a jump or a rollover that seems unlikely. Refusals: ``reading_runs_backwards``,
    ``reading_above_later``, ``reading_jumps``, ``reading_in_future``, ``reading_before_commissioning``,
    ``reading_not_a_count``, ``reading_beyond_meter`` (422), ``reading_differs`` (409).
    """
    with transaction.atomic():
        chain = _locked(counter_id, actor, "reading.post")
        entry = Entry(0, counter_id, value, read_at, note, confirmed)
        reading = _placed(chain, entry, actor=actor, now=now, source=source)
        if reading is None:
            return Reading.objects.get(counter_id=counter_id, read_at=read_at)
        reading.save(force_insert=True)
        _settle([chain], why=f"{chain.counter.name} read: {meter.figure(value)}", now=now)
        return reading


def post_readings(
    *, entries: Sequence[Entry], actor: Person, now: datetime, source: str, dry_run: bool = False
) -> Report:
    """Store many readings, of one counter or several: all or none, whatever their order.

    With ``dry_run`` nothing is written and the report holds the errors; else errors raise ``rows_refused`` with
    ``rows``: row, field, code, message.
    """
    with transaction.atomic():
        report, chains, readings = _judge_all(entries, actor=actor, now=now, source=source, dry_run=dry_run)
        if report.errors and not dry_run:
            raise Unprocessable(
                "rows_refused",
                f"{grouped(len(report.errors))} of {grouped(len(entries))} readings cannot be taken; nothing was "
                "written.",
                rows=report.errors,
            )
        if readings and not dry_run:
            Reading.objects.bulk_create(readings, batch_size=1000)
            touched = {reading.counter_id for reading in readings}
            _settle([chains[pk] for pk in sorted(touched)], why=f"{len(readings)} readings posted", now=now)
    return report


def exchange_meter(
    *,
    counter_id: int,
    closing_value: float,
    opening_value: float,
    at: datetime,
    actor: Person,
    now: datetime,
    source: str,
    note: str = "",
    confirmed: bool = False,
) -> Reading:
    """Store that the meter was exchanged: what the old one showed last, and what the new one shows first.

    The total runs on. Later readings, judged on the old meter, must be withdrawn first (``readings_after_exchange``).
    """
    with transaction.atomic():
        chain = _locked(counter_id, actor, "reading.post")
        _check_moment(chain, at, now, field="at")
        before, same, after = chain.around(at)
        if same is not None:
            if (same.closing, same.value) == (closing_value, opening_value):
                return Reading.objects.get(counter_id=counter_id, read_at=at)
            raise second.differs(chain.counter, same)
        if after is not None:
            raise second.readings_after(chain.counter, after)
        bounds = chain.bounds(before, at)
        meter.check_value(opening_value, bounds.rolls_over_at, field="opening_value")
        total = meter.total_of(
            closing_value, before=before, after=None, bounds=bounds, confirmed=confirmed, field="closing_value"
        )
        reading = _row(chain, at, opening_value, total, actor=actor, now=now, source=source, note=note)
        reading.kind, reading.closing_value = Reading.Kind.EXCHANGE, closing_value
        reading.save(force_insert=True)
        chain.add(Shown(at, chain.day_in_words(at), opening_value, total, closing_value))
        _record(chain, "meter.exchanged", reading, _content(reading), actor=actor, now=now)
        _settle([chain], why=f"meter of {chain.counter.name} exchanged", now=now)
        return reading


def withdraw_reading(*, reading_id: int, reason: str, actor: Person, now: datetime) -> None:
    """Take a wrong reading out, with the reason. The record keeps what it was; later totals are worked out again."""
    found = Reading.objects.filter(pk=reading_id).values_list("counter_id", flat=True).first()
    if found is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    with transaction.atomic():
        chain = _locked(found, actor, "counter.change")
        if not reason.strip():
            raise Unprocessable("reason_missing", "Say why the reading is wrong.", field="reason")
        reading = Reading.objects.filter(pk=reading_id).first()
        if reading is None:
            raise came_first("already_withdrawn", "This reading was withdrawn meanwhile.", Reading, reading_id)
        _, _, after = chain.around(reading.read_at)
        if reading.kind == Reading.Kind.EXCHANGE and after is not None:
            raise second.readings_after(chain.counter, after)
        content = {**_content(reading), "reason": reason.strip()}
        _record(chain, "reading.withdrawn", reading, content, actor=actor, now=now)
        reading.delete()
        chain.shown = [shown for shown in chain.shown if shown.at != reading.read_at]
        _total_again(chain)
        chain.counted_anew_from = date.min
        _settle([chain], why=f"a reading of {chain.counter.name} was withdrawn", now=now)


def refresh_forecasts(*, counter_ids: Iterable[int], now: datetime) -> int:
    """Fit the forecasts of some counters again, in the caller's transaction or its own; returns how many changed.

    For the service itself, where a season or counter changed: no permission is asked, and the caller marks the assets.
    """
    with transaction.atomic():
        counters = Counter.objects.select_for_update(of=("self",)).select_related("asset__site").order_by("pk")
        return sum(_refit(Chain(counter), now) for counter in counters.filter(pk__in=list(counter_ids)))


def refit_in_batches(*, counter_ids: Sequence[int], now: datetime) -> int:
    """Fit many counters again, a transaction for every hundred; changed ones mark their assets. Returns how many."""
    changed = 0
    for start in range(0, len(counter_ids), 100):
        with transaction.atomic():
            rows = Counter.objects.select_for_update(of=("self",)).select_related("asset__site").order_by("pk")
            chains = [Chain(counter) for counter in rows.filter(pk__in=counter_ids[start : start + 100])]
            moved = [chain for chain in chains if _refit(chain, now)]
            changed += len(moved)
            _tell(moved, why="forecast fitted again", now=now)
    return changed


def _locked(counter_id: int, actor: Person, deed: str) -> Chain:
    counter = Counter.objects.select_related("asset").filter(pk=counter_id).first()
    if counter is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    people.require(actor, deed, counter.asset.site_id)
    rows = Counter.objects.select_for_update(of=("self",)).select_related("asset__site")
    return Chain(rows.get(pk=counter_id))


def _placed(chain: Chain, entry: Entry, *, actor: Person, now: datetime, source: str) -> Reading | None:
    """The row to write, its place taken in the chain; None when the very same reading is already there."""
    meter.check_value(entry.value, None)
    _check_moment(chain, entry.read_at, now)
    before, same, after = chain.around(entry.read_at)
    if same is not None:
        if same.closing is None and same.value == entry.value:
            return None
        raise second.differs(chain.counter, same)
    bounds = chain.bounds(before, entry.read_at)
    total = meter.total_of(entry.value, before=before, after=after, bounds=bounds, confirmed=entry.confirmed)
    chain.add(Shown(entry.read_at, chain.day_in_words(entry.read_at), entry.value, total))
    return _row(chain, entry.read_at, entry.value, total, actor=actor, now=now, source=source, note=entry.note)


def _judge_all(
    entries: Sequence[Entry], *, actor: Person, now: datetime, source: str, dry_run: bool
) -> tuple[Report, dict[int, Chain], list[Reading]]:
    chains = {pk: _locked(pk, actor, "reading.post") for pk in sorted({entry.counter_id for entry in entries})}
    readings: list[Reading] = []
    errors: list[dict[str, Any]] = []
    there = 0
    for entry in sorted(entries, key=lambda entry: (entry.counter_id, entry.read_at, entry.row)):
        try:
            reading = _placed(chains[entry.counter_id], entry, actor=actor, now=now, source=source)
        except Refused as refused:
            error = {"row": entry.row, "field": refused.field, "code": refused.code, "message": refused.message}
            errors.append(error)
            continue
        if reading is None:
            there += 1
        else:
            readings.append(reading)
    errors.sort(key=lambda error: error["row"])
    return Report(len(readings), there, errors, [], dry_run), chains, readings


def _check_moment(chain: Chain, at: datetime, now: datetime, *, field: str = "read_at") -> None:
    if at > now:
        raise Unprocessable(
            "reading_in_future", "A reading cannot be from the future. Check day and time.", field=field
        )
    commissioned = chain.asset.commissioned_on
    if commissioned is not None and at.astimezone(chain.zone).date() < commissioned:
        raise Unprocessable(
            "reading_before_commissioning",
            f"{chain.asset} was commissioned on {commissioned:%-d %B %Y}; this reading is from before.",
            field=field,
        )


def _row(
    chain: Chain, at: datetime, value: float, total: float, *, actor: Person, now: datetime, source: str, note: str
) -> Reading:
    return Reading(
        counter_id=chain.counter.pk,
        read_at=at,
        read_on=at.astimezone(chain.zone).date(),
        value=value,
        total=total,
        source=source,
        posted_by=actor,
        posted_at=now,
        note=note,
    )


def _total_again(chain: Chain) -> None:
    """Work the totals out again along the chain; the first stands."""
    changed = []
    for place in range(1, len(chain.shown)):
        before, shown = chain.shown[place - 1], chain.shown[place]
        step = shown.arriving - before.value
        if step < 0:
            step += chain.counter.rolls_over_at or 0.0
        if before.total + step != shown.total:
            chain.shown[place] = shown._replace(total=before.total + step)
            changed.append(chain.shown[place])
    for shown in changed:
        Reading.objects.filter(counter=chain.counter, read_at=shown.at).update(total=shown.total)


def _settle(chains: Sequence[Chain], *, why: str, now: datetime) -> None:
    """Refit, and tell the floors above which assets' due dates this moves."""
    for chain in chains:
        _refit(chain, now)
    _tell(chains, why=why, now=now)
    anew = {chain.asset.pk: chain.counted_anew_from for chain in chains if chain.counter.is_primary}
    if since := min((day for day in anew.values() if day), default=None):
        events.count_corrected.send(sender=Counter, asset_ids=sorted(anew), since=since, now=now)


def _tell(chains: Sequence[Chain], *, why: str, now: datetime) -> None:
    moved = sorted({chain.asset.pk for chain in chains if chain.counter.is_primary})
    if moved:
        events.duty_changed.send(sender=Counter, asset_ids=moved, why=why, now=now)


def _refit(chain: Chain, now: datetime) -> bool:
    """Store the forecast from the chain; whether anything a due date hangs on changed."""
    commissioned = chain.asset.commissioned_on
    fitted = rules.fit_and_test(
        chain.points(),
        chain.seasons,
        commissioned=float(commissioned.toordinal()) if commissioned else None,
        read_every_days=chain.counter.expected_every_days,
    )
    last = chain.shown[-1] if chain.shown else None
    as_of = (last.at if last else now).astimezone(chain.zone).date()
    total = last.total if last else 0.0
    forecast = CounterForecast.objects.filter(counter=chain.counter).first()
    changed = forecast is None or (forecast.parameters, forecast.total) != (fitted.parameters, total)
    if forecast is None:
        forecast = CounterForecast(counter=chain.counter, version=0)
    if changed or (last and forecast.as_of != as_of):
        forecast.version += 1
    forecast.as_of, forecast.total, forecast.parameters = as_of, total, fitted.parameters
    forecast.basis, forecast.back_test, forecast.computed_at = fitted.basis, fitted.back_test, now
    forecast.save()
    return changed


def _content(reading: Reading) -> dict[str, Any]:
    return {
        "counter_id": reading.counter_id,
        "kind": str(reading.kind),
        "read_at": reading.read_at.isoformat(),
        "value": reading.value,
        "closing_value": reading.closing_value,
        "total": reading.total,
        "note": reading.note,
    }


def _record(
    chain: Chain, deed: str, reading: Reading, content: dict[str, Any], *, actor: Person, now: datetime
) -> None:
    record.append(
        site_id=chain.asset.site_id,
        deed=deed,
        actor=actor,
        subject=reading,
        content={"counter": chain.counter.name, **content},
        now=now,
        asset_id=chain.asset.pk,
    )
