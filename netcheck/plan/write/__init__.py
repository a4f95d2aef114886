"""Writers of plan files: new plans, addresses and accepted findings; every other value is kept."""
