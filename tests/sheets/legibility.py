"""What any sheet must keep to: no text over another, nothing outside the paper."""

from __future__ import annotations

import numpy as np

from survey.sheets.drawing import Box, Sheet, Text
from survey.sheets.kit.lettering import text_box, texts_overlap
from survey.sheets.kit.placing import exploded, on_paper


def sheet_texts(sheet: Sheet) -> list[Text]:
    """Every text a sheet shows, on paper; of a clipped drawing those that reach into its window."""
    return [text for text, _ in _texts(sheet)]


def _texts(sheet: Sheet) -> list[tuple[Text, Box | None]]:
    """Every text with the window it shows through, if any."""
    found: list[tuple[Text, Box | None]] = [
        (mark, None) for mark in exploded(sheet.primitives) if isinstance(mark, Text)
    ]
    for placed in sheet.placed:
        for mark in on_paper(placed):
            if isinstance(mark, Text) and (placed.clip is None or placed.clip.meets(text_box(mark))):
                found.append((mark, placed.clip))
    return found


def overprints(sheet: Sheet) -> list[tuple[str, str]]:
    """Pairs of texts that print over each other."""
    texts = _texts(sheet)
    boxes = np.array([(b.left, b.bottom, b.right, b.top) for b in (text_box(t) for t, _ in texts)])
    found = []
    for i, (first, window) in enumerate(texts):
        later = boxes[i + 1 :]
        near = (
            (later[:, 0] < boxes[i, 2])
            & (later[:, 2] > boxes[i, 0])
            & (later[:, 1] < boxes[i, 3])
            & (later[:, 3] > boxes[i, 1])
        )
        for j in np.flatnonzero(near) + i + 1:
            second, other_window = texts[j]
            if _shown(first, other_window) and _shown(second, window) and texts_overlap(first, second):
                found.append((first.text, second.text))
    return found


def _shown(text: Text, window: Box | None) -> bool:
    """Whether a text reaches into another's window, where alone the two could meet."""
    return window is None or window.meets(text_box(text))


def outside(sheet: Sheet, margin_mm: float = 0.0) -> list[str]:
    """Texts that are not wholly on the paper, clipped drawings left aside."""
    paper = Box(0.0, 0.0, sheet.width_mm, sheet.height_mm).grown(-margin_mm)
    whole = Sheet(sheet.name, sheet.title, sheet.width_mm, sheet.height_mm,
                  tuple(p for p in sheet.placed if p.clip is None), sheet.primitives)  # fmt: skip
    return [text.text for text in sheet_texts(whole) if not paper.holds(text_box(text))]


def said(sheets: tuple[Sheet, ...]) -> str:
    """All words of some sheets, line breaks taken out."""
    return " ".join(text.text for sheet in sheets for text in sheet_texts(sheet))
