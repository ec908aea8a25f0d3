"""Gathers the tables of schedules for Django and does nothing else."""

from schedules.alerts.models import *
from schedules.deferral.models import *
from schedules.due.models import *
from schedules.duty.models import *
from schedules.duty.recordings.models import *
from schedules.reports.models import *
from schedules.work.models import *
