"""The links: one module per way in which the operating system lets frames leave and arrive."""
