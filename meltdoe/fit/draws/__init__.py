"""Draws from what is believed after the melts."""
