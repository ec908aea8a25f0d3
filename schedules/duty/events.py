"""What duty tells the floors above it, inside the transaction of the change.

Duty never imports due; ``schedules/receivers.py`` connects the two.
"""

from django.dispatch import Signal

# kwargs: asset_ids: list[int], why: str, now: datetime  (a count, a season or a counter changed)
duty_changed = Signal()
# kwargs: asset_ids: list[int], since: date, now: datetime  (what is counted by the days from then on is another: a
# reading came or was withdrawn)
count_corrected = Signal()
# kwargs: joint_ids: list[int], why: str, now: datetime  (what one count does to a joint changed)
spectrum_changed = Signal()
