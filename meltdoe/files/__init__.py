"""Every format on disk: the series file, tables, and the store of plan, log and journal."""
