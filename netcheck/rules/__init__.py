"""The catalogue of rules, the finding and the engine that runs the rules."""
