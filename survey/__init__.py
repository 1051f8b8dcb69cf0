"""Record, fit and replan historic brick arches.

A measured arch walks one way through the rooms of this package::

    record  ->  fitting  ->  condition  ->  rebuild  ->  sheets

with :mod:`survey.curves`, plane geometry, as the ground floor of them all.
Lengths are millimetres and angles radians everywhere past :mod:`survey.record`.
"""

__version__ = "0.1.0"
