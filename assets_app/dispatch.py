"""Work that a deed leaves for the workers is sent after its commit. The deed stands whether or not the broker answers:
what is owed is in the database, and beat's sweeps find it there. So every such ``on_commit`` is ``robust``: an error in
it is logged and does not answer a deed that was done as if it had failed."""

from __future__ import annotations

import logging
from typing import Any

from django.db import OperationalError as DatabaseAway
from kombu.exceptions import OperationalError as BrokerAway

# Options of every task. What the database was away for is tried again; the outcome stands there, not in the broker.
RETRY = {"autoretry_for": (DatabaseAway,), "retry_backoff": True, "max_retries": 5, "ignore_result": True}
_log = logging.getLogger(__name__)


def send(task: Any) -> bool:
    """Send ``task`` (a Celery task without arguments) now.

    False where the broker does not answer, which costs some seconds' wait for the next sweep.
    """
    try:
        task.delay()
    except BrokerAway as error:
        _log.warning("%s was not sent, the broker does not answer: %s", task.name, type(error).__name__)
        return False
    return True
