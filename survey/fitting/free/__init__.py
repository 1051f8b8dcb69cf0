"""Free circles and ellipses: any place, any direction, no word of arches.

Public through :mod:`survey.fitting`. A fit walks one way through the modules: ``points`` checks and frames
what is given, ``start`` finds an algebraic curve to begin with, ``search`` runs the engine on the curve's
model (``circle_model``; ``ellipse_model`` with ``ellipse_conic`` and ``ellipse_foot``), ``quality`` says what
the answer is worth, and ``circle`` and ``ellipse`` hold the two public functions and their results.
"""
