"""Drawings, tables and reports: one drawing model in millimetres, rendered as SVG, PDF, DXF or on axes.

:mod:`~survey.sheets.drawing` holds the primitives and :mod:`~survey.sheets.placing` brings them onto paper;
:mod:`~survey.sheets.svg`, :mod:`~survey.sheets.pdf`, :mod:`~survey.sheets.dxf` and
:mod:`~survey.sheets.axes` only render. Sheets are put together from :mod:`~survey.sheets.page`,
:mod:`~survey.sheets.furniture`, :mod:`~survey.sheets.schedule` and :mod:`~survey.sheets.labels`;
:mod:`~survey.sheets.record_sets`, ``fit_sets``, ``condition_sets`` and ``rebuild_sets``
list every set of them and :mod:`~survey.sheets.write` writes them. Nothing is imported here: a command loads
only what it writes.
"""
