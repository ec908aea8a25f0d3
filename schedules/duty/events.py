"""What duty tells the floors above it, inside the transaction of the change.

Duty never imports due; ``schedules/receivers.py`` connects the two.
"""

from django.dispatch import Signal

# kwargs: asset_ids: list[int], why: str, now: datetime  (a count, a season or a counter changed)
duty_changed = Signal()
# kwargs: asset_ids: list[int], now: datetime  (what was counted by a past day was wrong: a reading was withdrawn)
count_corrected = Signal()
# kwargs: joint_ids: list[int], why: str, now: datetime  (what one count does to a joint changed)
spectrum_changed = Signal()
