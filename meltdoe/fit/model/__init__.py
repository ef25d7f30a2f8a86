"""What is believed before the melts, and how likely their outcomes are."""
