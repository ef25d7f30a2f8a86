"""What happened: melts with partial outcomes and actual settings, and the history of every entry."""

from meltdoe.log.melt_log import Entry, Log

__all__ = ["Entry", "Log"]
