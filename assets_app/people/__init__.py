"""Who people are, what they may do at which site, and what they are qualified for."""
