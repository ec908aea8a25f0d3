"""What exists: sites, assets, members and joints."""
