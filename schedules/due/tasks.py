"""Celery doors of the due engine. Names are a wire format."""

import socket

from celery import shared_task
from django.utils import timezone

from assets_app import dispatch
from assets_app.dispatch import RETRY
from schedules.due import engine, measured_growth, sweeps


@shared_task(name="due.recompute_stale", **RETRY)
def recompute_stale() -> None:
    """Recompute what is marked stale, until nothing is; each batch by its own clock, for the day may turn meanwhile."""
    while engine.recompute_marked_batch(now=timezone.now()):
        pass


@shared_task(name="due.sweep_if_owed", **RETRY)
def sweep_if_owed() -> None:
    """Lay out the day's sweep of each site once, after midnight on the site's clock."""
    if sweeps.start_owed(now=timezone.now()):
        dispatch.send(work_off_sweep)


@shared_task(name="due.work_off_sweep", **RETRY)
def work_off_sweep() -> None:
    """Work off the parts of sweeps that are free, each by its own clock."""
    while sweeps.work_off(worker=socket.gethostname(), now=timezone.now(), most=1):
        pass


@shared_task(name="due.fit_growth", **RETRY)
def fit_growth() -> None:
    """Fit the growth of cracks that were measured anew."""
    measured_growth.fit_owed(now=timezone.now())
