"""The candidates weighed against each other: still or moved, which family, and what to say of it."""
