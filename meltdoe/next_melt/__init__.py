"""What next: the most informative melt or firing for its cost, or a reason to stop."""
