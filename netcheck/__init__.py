"""netcheck: checks a controls network's address plan and proves that each address answers through its own port."""

__version__ = "0.2.0"
