"""What is intended: the plan's model, its readers and its writer."""
