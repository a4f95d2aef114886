"""The truth campaign: sites drawn at random are proven in virtual time, and each verdict is held against the truth."""
