"""Regular two-level fractions: generators, aliases, blocks, foldover."""
