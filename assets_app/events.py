"""What assets_app tells the floors above it, inside the same transaction.

assets_app never imports schedules; schedules connects its receivers in ``schedules/receivers.py``.
"""

from django.dispatch import Signal

# sender: the action's module; kwargs: joint_ids: list[int], why: str, now: datetime
joints_changed = Signal()
# kwargs: site_id: int, why: str, now: datetime  (a register import touched a whole site)
register_imported = Signal()
# kwargs: inspection: Inspection, findings: list[Finding], actor: Person, now: datetime
inspection_recorded = Signal()
# kwargs: finding: Finding, actor: Person, now: datetime  (severity or state changed, assessment signed)
finding_changed = Signal()
