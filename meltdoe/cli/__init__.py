"""The terminal: options read, one verb of `meltdoe.steps` called, its result printed."""
