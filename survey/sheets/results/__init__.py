"""The result files: JSON, tables and the same tables as frames."""
