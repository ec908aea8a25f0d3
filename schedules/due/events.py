"""What the due floor tells the floors above it, inside the same transaction."""

from django.dispatch import Signal

# kwargs: site: Site, columns: dict[str, ndarray] (rows just written, see store.WRITTEN), today, now
dates_changed = Signal()

# kwargs: site_id: int, now: an asset whose recompute broke off stands in ``NotComputed``
asset_left_out = Signal()
