"""The folder itself: writing that survives a pulled plug, one writer at a time, links, second copies, older formats."""
