"""Drawings, tables and reports: one drawing model in millimetres, rendered as SVG, PDF, DXF or on axes.

:mod:`~survey.sheets.drawing` holds the primitives and :mod:`~survey.sheets.kit.placing` brings them onto
paper; :mod:`~survey.sheets.render.svg`, :mod:`~survey.sheets.render.pdf`, :mod:`~survey.sheets.render.dxf`
and :mod:`~survey.sheets.render.axes` only render. Sheets are put together from
:mod:`~survey.sheets.kit.page`, :mod:`~survey.sheets.kit.furniture`, :mod:`~survey.sheets.kit.schedule` and
:mod:`~survey.sheets.kit.labels`; :mod:`~survey.sheets.record.sets`, ``fit_sets``, ``condition_sets`` and
``rebuild_sets`` list every set of them and :mod:`~survey.sheets.write` writes them. Nothing is imported here:
a command loads only what it writes.
"""
