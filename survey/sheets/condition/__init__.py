"""The sheets of deviations, movement and comparison."""
