"""What sheets are made of: paper, ink, lettering, labels kept apart, strips, schedules and tiles."""
