"""Pictures of the README, made from the small sample."""
