"""The report of ``make faults`` as a page for people, written beside its JSON."""

from __future__ import annotations

from typing import Any

INTRODUCTION = """# What was broken, and what came of it

Written by `make faults`; the same figures are in [faults.json](faults.json).

PostgreSQL, Redis, two workers and, on purpose, two beats run by production's commands. A fleet is loaded without any
due date and is computed while people post readings, looks and findings. Meanwhile processes are killed by SIGKILL,
most of them in the middle of a transaction, of sending mail or of posting to a webhook; Redis is emptied and stopped,
sometimes coming back with nothing; PostgreSQL is restarted and crashed; the mail server and a webhook receiver refuse
some messages, and the receiver is down now and then; the clock jumps over the end of summer time in London and New
York, once back by half an hour, then over its beginning. Then everything is left alone until nothing is owed any more;
what a webhook gave up after a jump of months is owed again, as its keeper would ask for.

The clock is shifted by `running/faults_settings.py`, which only this run uses: it replaces
`django.utils.timezone.now`, which the doors of the service ask and nothing below them does.
"""

CHECKS = """## What must hold

- Every due date, each limit's own day, the governing and next limit and every rating equal those of a clean recompute
  in a copy of the database from which all of them were taken out.
- Whatever the state says must be told (dates over or near, holds, silent counters) has been written, and everybody
  who hears of it has it once a channel.
- The alerts in the messages that the mail server took are exactly those written down as sent: none lost, none in two
  messages.
- Every alert of a site reached its webhook receiver, once under an id of its own, rightly signed.

A process killed after the mail server or the receiver took a message and before that was written down sends the same
message again, under the same Message-ID or webhook id, by which it is known. That cannot be had away; such repeats are
counted, and may not be more than the kills and restarts that can explain them.
"""


def page(report: dict[str, Any]) -> str:
    what, found = report["what"], report["found"]
    title = "Everything held." if report["passed"] else "**Something did not hold.**"
    size = f"{report['done']['kills']} kills, {what['joints']:,} joints on {what['assets']} assets, seed {what['seed']}"
    counts = {name: value for name, value in found.items() if isinstance(value, int)}
    ways = {f"webhooks: {name.replace('_', ' ')}": value for name, value in found["webhooks"].items()}
    mail = {f"mail: {name.replace('_', ' ')}": value for name, value in found["mail"].items()}
    parts = [
        INTRODUCTION,
        f"**{title.strip('*')}** {size}.\n",
        _table("What was done", "times", report["done"]),
        _table("What was posted meanwhile", "times", report["posted meanwhile"]),
        CHECKS,
        _table("What was found", "count", {**counts, **mail, **ways}),
        _table("How long it took", "seconds", report["seconds"]),
        f"On {report['machine']['cores']} cores, Python {report['machine']['python']}.\n",
    ]
    return "\n".join(parts)


def _table(title: str, unit: str, rows: dict[str, Any]) -> str:
    lines = [f"| {name} | {value:,} |" for name, value in rows.items()]
    return "\n".join([f"## {title}", "", f"| | {unit} |", "| --- | ---: |", *lines, ""])
