"""What is already there: site hosts and the readers of each source."""
