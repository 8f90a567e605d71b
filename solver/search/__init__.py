"""The search: rooms that turn a problem into good sequences, assembled in `solve`."""
