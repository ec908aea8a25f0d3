"""Put-off work: reason, interim measure, end, signature; the backlog's figures."""
