"""What is to be told, to whom, and how often it is tried. Pure: states in, drafts out; today is an argument."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any

from engineering.figures import grouped

OVERDUE, DUE_SOON, HOLD_PLACED, HOLD_RELEASED = "overdue", "due soon", "hold placed", "hold released"
DEFERRAL_ENDING, COUNTER_SILENT = "deferral ending", "counter silent"
QUALIFICATION_ENDING, UNRATED, ESCALATED = "qualification ending", "unrated", "escalated"
NOT_COMPUTED = "not computed"

AT_WORK = frozenset({"planner", "technician", "inspector", "engineer", "manager"})
# kind -> roles at the site that hear of it, where the site has no rule of its own (`hearing`). A person named by the
# intent hears of it whatever their role.
HEARS: dict[str, frozenset[str]] = {
    OVERDUE: frozenset({"planner", "manager"}),
    DUE_SOON: frozenset({"planner"}),
    HOLD_PLACED: AT_WORK,
    HOLD_RELEASED: AT_WORK,
    DEFERRAL_ENDING: frozenset({"planner", "manager"}),
    COUNTER_SILENT: frozenset({"planner", "technician"}),
    QUALIFICATION_ENDING: frozenset({"manager"}),
    UNRATED: frozenset({"planner", "engineer"}),
    NOT_COMPUTED: frozenset({"planner", "manager"}),
    ESCALATED: frozenset(),  # each step names its own role
}
STEPS: dict[str, int] = {"manager": 14, "engineer": 30}  # role -> days overdue; common practice, no source
DEFERRAL_NOTICE_DAYS = 14  # lead times: common practice, no source
QUALIFICATION_NOTICE_DAYS = 60
LEADS: dict[str, int | None] = {  # kinds with a lead time; None is the policy's days that count as due soon
    DUE_SOON: None,
    DEFERRAL_ENDING: DEFERRAL_NOTICE_DAYS,
    QUALIFICATION_ENDING: QUALIFICATION_NOTICE_DAYS,
}
BREAKS_THROUGH = frozenset({HOLD_PLACED})  # neither quiet hours nor the digest keep these back
ACKNOWLEDGED_STOPS = frozenset({OVERDUE, ESCALATED})  # whoever acknowledges one of these ends its escalation
MANY = 200  # looks of one kind told singly a site and day; more are told by their count: nobody reads the single ones
FLOOD_RESTS = timedelta(minutes=10)  # a flood is told when nothing more came for so long,
FLOOD_WAITS = timedelta(hours=1)  # or when its first look has waited for so long
SHIFT_TOLD_AGAIN_DAYS = 14  # a date that a reading moves by less is not told again

FIRST_RETRY = timedelta(minutes=1)
LONGEST_RETRY = timedelta(hours=1)  # so that a mail server that comes back is found within the hour
MOST_ATTEMPTS = 30  # with the back-off below: about a day
CLAIM_HOLDS = timedelta(minutes=5)  # longer than sending one message can take
POST_CLAIM_HOLDS = timedelta(seconds=30)  # renewed before each post, which ends within ``http_post.DEADLINE_S``
BATCH_SIZE = 1000  # alerts in one message: more than a site tells singly a day, so that a digest is one
LONGEST_POST_PAUSE = timedelta(hours=1)  # so that a receiver that comes back is found within the hour
LONGEST_ASKED = timedelta(days=1)  # a receiver may ask for a longer pause by Retry-After, up to this
POSTED_FOR = timedelta(days=5)  # owed to a webhook for longer while it fails: given up
REFUSALS = frozenset({400, 413, 415, 422})  # the receiver answers, and wants this message never
MOST_REFUSALS = 6  # then it is given up and the next one has its turn


@dataclass(frozen=True, kw_only=True)
class Draft:
    """An intent before it is written. ``key`` makes it one thing."""

    kind: str
    key: str
    subject: str
    text: str
    link: str = ""
    joint_id: int | None = None
    programme_id: int | None = None
    for_day: date | None = None
    person_id: int | None = None
    role: str = ""


def overdue(*, programme_id: int, joint_id: int, what: str, due_on: date, today: date) -> Draft:
    days = (today - due_on).days
    return Draft(
        kind=OVERDUE,
        key=f"overdue:{programme_id}:{due_on.isoformat()}",
        subject=f"Overdue: {what}",
        text=f"{what} was due on {day(due_on)}, {days} day{'s' if days != 1 else ''} ago.",
        link=f"/joints/{joint_id}/",
        joint_id=joint_id,
        programme_id=programme_id,
        for_day=due_on,
    )


def due_soon(*, programme_id: int, joint_id: int, what: str, due_on: date) -> Draft:
    return Draft(
        kind=DUE_SOON,
        key=f"due soon:{programme_id}:{due_on.isoformat()}",
        subject=f"Due soon: {what}",
        text=f"{what} is due on {day(due_on)}.",
        link=f"/joints/{joint_id}/",
        joint_id=joint_id,
        programme_id=programme_id,
        for_day=due_on,
    )


def escalated(*, programme_id: int, joint_id: int, what: str, due_on: date, role: str, today: date) -> Draft:
    """Overdue for as long as a step allows, and nobody acknowledged it: told to the step's role."""
    return Draft(
        kind=ESCALATED,
        key=f"escalated:{programme_id}:{due_on.isoformat()}:{role}",
        subject=f"Still overdue: {what}",
        text=f"{what} was due on {day(due_on)}, {(today - due_on).days} days ago. Nobody has acknowledged it.",
        link=f"/joints/{joint_id}/",
        joint_id=joint_id,
        programme_id=programme_id,
        for_day=due_on,
        role=role,
    )


def many_escalated(*, site_id: int, count: int, days: int, role: str, today: date) -> Draft:
    """More than can be told one by one: the count, once a week while there are so many."""
    year, week, _ = today.isocalendar()
    return Draft(
        kind=ESCALATED,
        key=f"escalated:site {site_id}:{role}:{year}-W{week:02d}",
        subject=f"{grouped(count)} looks are still overdue",
        text=f"{grouped(count)} looks have been overdue for {days} days or longer. The due list names each, with its "
        "reason.",
        link="/due/",
        for_day=today,
        role=role,
    )


def many(*, kind: str, site_id: int, count: int, today: date, number: int = 1) -> Draft:
    """Many looks overdue, or due soon (a first import, a changed policy): the day's ``number``-th alert of the kind
    with a count."""
    words = "overdue" if kind == OVERDUE else "due soon"
    looks = "1 look" if count == 1 else f"{grouped(count)} looks"
    is_one, more = count == 1, " more" if number > 1 else ""
    return Draft(
        kind=kind,
        key=f"{kind}:site {site_id}:{today.isoformat()}" + (f":{number}" if number > 1 else ""),
        subject=f"{looks}{more} {'is' if is_one else 'are'} {words}",
        text=f"{looks}{more} {'has' if is_one else 'have'} become {words}, too many today to be told one by one. "
        "The due list names each, with its reason.",
        link="/due/",
        for_day=today,
    )


def is_told_by_count(*, news: int, told_today: int) -> bool:
    """Whether so many looks are told by their count, when others of the kind were told singly today."""
    return told_today + news > MANY


def flood_is_over(*, first: datetime, last: datetime, now: datetime) -> bool:
    """Whether to tell the looks counted from ``first`` to ``last``: nothing came for a while, or they waited long."""
    return now - last >= FLOOD_RESTS or now - first >= FLOOD_WAITS


def hold_placed(*, hold_id: int, what: str, reason: str, by: str, joint_id: int | None) -> Draft:
    return Draft(
        kind=HOLD_PLACED,
        key=f"hold placed:{hold_id}",
        subject=f"Held, not to be used: {what}",
        text=f"{what} is held: {sentence(reason)} Placed by {by}.",
        link="/holds/",
        joint_id=joint_id,
    )


def hold_released(*, hold_id: int, what: str, reason: str, by: str, joint_id: int | None) -> Draft:
    return Draft(
        kind=HOLD_RELEASED,
        key=f"hold released:{hold_id}",
        subject=f"Hold lifted: {what}",
        text=f"The hold on {what} was lifted by {by}: {sentence(reason)}",
        link="/holds/",
        joint_id=joint_id,
    )


def deferral(
    *,
    deferral_id: int,
    order_id: int,
    what: str,
    ends_on: date,
    signed_by_id: int,
    today: date,
    lead_days: int = DEFERRAL_NOTICE_DAYS,
) -> Draft | None:
    """About to end, or ended with the work not done; None where neither is so."""
    if ends_on > today + timedelta(days=lead_days):
        return None
    lapsed = ends_on < today
    state, verb = ("ended", "ended") if lapsed else ("ending", "ends")
    after = "It is overdue again." if lapsed else "Do the work, or sign anew."
    return Draft(
        kind=DEFERRAL_ENDING,
        key=f"deferral {state}:{deferral_id}:{ends_on.isoformat()}",
        subject=f"Deferral {verb}: {what}",
        text=f"{what} was put off until {day(ends_on)}. {after}",
        link=f"/orders/{order_id}/",
        for_day=ends_on,
        person_id=signed_by_id,
    )


def counter_silent(*, counter_id: int, what: str, as_of: date | None, every_days: int) -> Draft:
    """Not read for longer than expected in the open season (``duty.rules.unread_too_long``), or never."""
    since = f"since {day(as_of)}" if as_of else "yet"
    then = "Until then it is counted at its busiest rate." if as_of else "Nothing can be forecast before."
    return Draft(
        kind=COUNTER_SILENT,
        key=f"counter silent:{counter_id}:{as_of.isoformat() if as_of else 'never'}",
        subject=f"Not read: {what}",
        text=f"{what} was not read {since}; it is expected every {every_days} days. {then}",
        link=f"/counters/{counter_id}/",
        for_day=as_of,
    )


def qualification_ending(
    *,
    qualification_id: int,
    site_id: int,
    person_id: int,
    who: str,
    what: str,
    expires_on: date,
    today: date,
    lead_days: int = QUALIFICATION_NOTICE_DAYS,
    unused_ends_on: date | None = None,
) -> Draft | None:
    """``unused_ends_on``: the last day of a welder's six months since the process was last used."""
    is_unused = unused_ends_on is not None and unused_ends_on < expires_on
    ends_on = unused_ends_on if unused_ends_on is not None and is_unused else expires_on
    if not today <= ends_on <= today + timedelta(days=lead_days):
        return None
    if is_unused:
        text = f"The six months since {who} last used the process ({what}) end on {day(ends_on)}. "
        text += "Confirm a use of it by then; without one it lapses."
    else:
        text = f"The qualification {what} of {who} ends on {day(ends_on)}."
    return Draft(
        kind=QUALIFICATION_ENDING,
        key=f"qualification ending:{site_id}:{qualification_id}:{ends_on.isoformat()}",
        subject=f"About to lapse: {what} of {who}",
        text=text,
        link=f"/people/{person_id}/",
        for_day=ends_on,
        person_id=person_id,
    )


def unrated(*, site_id: int, count: int, today: date) -> Draft | None:
    """Once a week while there are any."""
    if not count:
        return None
    year, week, _ = today.isocalendar()
    looks = "1 look is" if count == 1 else f"{grouped(count)} looks are"
    return Draft(
        kind=UNRATED,
        key=f"unrated:{site_id}:{year}-W{week:02d}",
        subject=f"{grouped(count)} unrated",
        text=f"{looks} unrated: a figure is missing, so only the calendar limits them. The due list names each figure.",
        link="/due/?unrated=true",
        for_day=today,
    )


def not_computed(*, site_id: int, first: str, count: int, today: date) -> Draft:
    """Once a day while there are any; ``first`` is the asset that broke off first of ``count``."""
    more = f" and of {grouped(count - 1)} more asset{'s' if count > 2 else ''}" if count > 1 else ""
    return Draft(
        kind=NOT_COMPUTED,
        key=f"not computed:{site_id}:{today.isoformat()}",
        subject=f"Not computed: {first}" + (f" and {grouped(count - 1)} more" if more else ""),
        text=f"The due dates of {first}{more} could not be computed. They stand as they were computed last and may be "
        "too late: have the joints looked at by hand. It is tried again every hour. Recomputes "
        "names all such assets, also those that broke off since, and the error.",
        link="/recomputes/",
        for_day=today,
    )


def is_told_already(new: int, told: Iterable[int]) -> bool:
    """Whether a day so near was told before: readings move dates by a day or two, which is no news. Ordinals."""
    return any(is_near(new, each) for each in told)


def is_near(new: Any, told: Any) -> Any:
    """Whether the one day is no news after the other; for ordinals or arrays of them."""
    return abs(new - told) < SHIFT_TOLD_AGAIN_DAYS


def retry_after(attempts: int) -> timedelta | None:
    """How long after the ``attempts``-th failure to try again: doubling; None is to give up."""
    if attempts >= MOST_ATTEMPTS:
        return None
    return min(FIRST_RETRY * 2 ** (attempts - 1), LONGEST_RETRY)


def post_again_after(failures: int, asked: timedelta = timedelta()) -> timedelta:
    """How long an endpoint waits after its ``failures``-th failure in a row: doubling, up to an hour; longer where it
    asked for that."""
    return max(min(FIRST_RETRY * 2 ** min(failures - 1, 20), LONGEST_POST_PAUSE), asked)


def asked_to_wait(retry_after: str, now: datetime) -> timedelta:
    """What ``Retry-After`` asks for (RFC 9110, 10.2.3: seconds or a date); nothing where it says nothing that can be
    read. A day at the most, so that a slip over there costs no more."""
    text = retry_after.strip()
    if text.isascii() and text.isdecimal():
        return timedelta(seconds=min(int(text[:12]), LONGEST_ASKED.total_seconds()))
    try:
        until = parsedate_to_datetime(text)
    except ValueError:
        return timedelta()
    wait = (until if until.tzinfo else until.replace(tzinfo=UTC)) - now
    return min(max(wait, timedelta()), LONGEST_ASKED)


def day(on: date) -> str:
    return f"{on.day} {on:%b %Y}"


def sentence(words: str) -> str:
    """What somebody wrote, with the stop that ends it where they left it out."""
    words = words.strip()
    return words if words.endswith((".", "!", "?")) else f"{words}."
