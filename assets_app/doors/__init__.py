"""What every door shares: refusals as problem+json or a page message, pages by key, idempotency, page context."""
