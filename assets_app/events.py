"""What assets_app tells the floors above it, inside the same transaction.

assets_app never imports schedules; schedules connects its receivers in ``schedules/receivers.py``.
"""

from django.dispatch import Signal

# sender: the action's module; kwargs: joint_ids: list[int], why: str, now: datetime
joints_changed = Signal()
# kwargs: site_id: int, asset_ids: list[int], why: str, now: datetime  (a register import touched these assets)
register_imported = Signal()
# kwargs: site_id: int, rows: list[dict] (joint_id, asset_id, method, calendar_months, duty_count, last_look_on, source;
# None: the file says nothing; fallback: the source of a new one that has none), now: datetime, check_only: bool. The
# receiver answers with counts: new, changed, unchanged.
programmes_given = Signal()
# kwargs: inspection: Inspection, findings: list[Finding], actor: Person, now: datetime
inspection_recorded = Signal()
# kwargs: finding: Finding, actor: Person, now: datetime  (severity or state changed, assessment signed)
finding_changed = Signal()
# kwargs: person: Person, site_id: int, role: str, actor: Person, now: datetime  (the role is gone already). Receivers
# answer with the numbers of the person's orders that go back to nobody.
role_taken = Signal()
# kwargs: person: Person, site_ids: list[int], actor: Person | None, now: datetime  (nobody signs in by it already).
# Receivers answer with numbers of orders as above.
account_shut = Signal()
# kwargs: later_id: int, first_id: int  (the later finding is the first one seen again; sent before either is locked,
# so that orders are locked first). Receivers answer with the numbers of the orders that go on for the first.
findings_joined = Signal()
