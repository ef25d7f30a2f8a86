"""series.toml: read, checked with the line of every fault, written and edited."""
