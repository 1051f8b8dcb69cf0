"""Least squares at any size: the engine, robust weights, noise along the courses, evidence."""
