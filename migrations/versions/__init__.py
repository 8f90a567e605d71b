"""The versions, in the order of their numbers. They only go up: an older one is in its backup."""
