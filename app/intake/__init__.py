"""Files in: what people have on disk, as contracts, with every fault found at once."""
