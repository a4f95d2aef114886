"""Work on site that needs both plan and wire: listening, sweeping, getting ready."""
