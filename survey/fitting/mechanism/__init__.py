"""The arch as rigid pieces turned about hinges."""
