"""What was recorded: the journal, and log.csv and plan.csv beside it."""
