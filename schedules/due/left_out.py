"""Assets whose recompute broke off by an error that nobody foresaw. They stop no other asset, and they stay in sight.

A batch or a part of a sweep that breaks off is done again one asset after the other; what still breaks off is kept here
with the error and its stale mark, and tried again every hour. Until then its dates stand as they were computed last.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta

from celery.exceptions import SoftTimeLimitExceeded
from django.db import InterfaceError, OperationalError, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from assets_app.register.models import Asset, Site
from schedules.due.events import asset_left_out
from schedules.due.models import NotComputed, StaleMark

TRIED_AGAIN_AFTER = timedelta(hours=1)
SHOWN = 50
WHY = "recompute broke off"
log = logging.getLogger(__name__)

# The database is away or busy, or a worker's time is up: the whole is tried again by whoever called.
NOT_OF_AN_ASSET = (OperationalError, InterfaceError, SoftTimeLimitExceeded)


def marks_to_try(now: datetime) -> QuerySet[StaleMark]:
    """The stale marks, oldest first, but for those of assets that broke off within the hour."""
    waits = NotComputed.objects.filter(asset=OuterRef("asset_id"), tried_at__gt=now - TRIED_AGAIN_AFTER)
    return StaleMark.objects.filter(~Exists(waits)).order_by("pk")


def one_after_the_other(
    asset_ids: Iterable[int], compute: Callable[[int], None], *, now: datetime, rating_too: bool = False
) -> int:
    """Compute each asset in a transaction of its own; returns for how many it broke off. These are noted, with a stale
    mark, so that they are tried again."""
    broken = 0
    for asset_id in asset_ids:
        try:
            with transaction.atomic():
                compute(asset_id)
        except NOT_OF_AN_ASSET:
            raise
        except Exception as error:
            log.exception("the dates of asset %s could not be computed", asset_id)
            _note(asset_id, error, now=now, rating_too=rating_too)
            broken += 1
    return broken


def of_sites(sites: QuerySet[Site]) -> QuerySet[NotComputed]:
    """The first fifty of some sites, the oldest first."""
    return NotComputed.objects.filter(site__in=sites).select_related("asset", "site")[:SHOWN]


def computed(*, asset_ids: Sequence[int] = (), asset_range: tuple[int, int] | None = None) -> None:
    """These assets were computed whole."""
    which = Q(asset_id__in=asset_ids)
    if asset_range:
        which = Q(asset_id__gte=asset_range[0], asset_id__lte=asset_range[1])
    NotComputed.objects.filter(which).delete()


@transaction.atomic
def _note(asset_id: int, error: Exception, *, now: datetime, rating_too: bool) -> None:
    site_id = Asset.objects.filter(pk=asset_id).values_list("site_id", flat=True).first()
    if site_id is None:
        return  # removed meanwhile
    said = f"{type(error).__name__}: {error}".replace("\x00", "")[:240]
    first = {"site_id": site_id, "since": now, "tried_at": now, "error": said}
    again = {"tried_at": now, "tries": F("tries") + 1, "error": said}
    NotComputed.objects.update_or_create(asset_id=asset_id, defaults=again, create_defaults=first)
    mark = {"asset_id": asset_id, "joint": None, "why": WHY, "rating_too": rating_too}
    if not StaleMark.objects.filter(**mark).exists():
        StaleMark.objects.create(**mark, marked_at=now)
    asset_left_out.send(sender=__name__, site_id=site_id, now=now)
