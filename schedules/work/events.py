"""What the work floor tells the floors above it, inside the same transaction."""

from django.dispatch import Signal

# kwargs: order: WorkOrder, actor: Person, now  (its work is done, or it was cancelled)
order_over = Signal()
# kwargs: hold: Hold, now
hold_placed = Signal()
# kwargs: hold: Hold, now
hold_released = Signal()
