"""Gathers the tables of assets_app for Django and does nothing else."""

from assets_app.doors.models import *
from assets_app.inspections.bolt_models import *
from assets_app.inspections.marks_models import *
from assets_app.inspections.models import *
from assets_app.labels.models import *
from assets_app.people.models import *
from assets_app.record.check_models import *
from assets_app.record.models import *
from assets_app.register.models import *
