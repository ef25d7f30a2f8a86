"""The whole series played before buying: truths, simulated series, policies compared."""
