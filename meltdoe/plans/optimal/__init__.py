"""Melts chosen by exchange for the model that is meant."""
