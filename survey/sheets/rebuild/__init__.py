"""The sheets a mason builds from."""
