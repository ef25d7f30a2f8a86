"""Every format on disk: the series file, the plan, the log and its journal."""
