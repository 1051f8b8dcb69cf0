"""The sheets of the fitted curve and its setting out."""
