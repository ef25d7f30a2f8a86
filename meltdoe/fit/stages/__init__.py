"""The stages of a melt fitted and chained; effects, best settings and thresholds in words."""
