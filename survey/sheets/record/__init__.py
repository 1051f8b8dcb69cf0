"""The sheets of what was measured."""
