"""What any sheet must keep to: no text over another, nothing outside the paper."""

from __future__ import annotations

import numpy as np

from survey.sheets.drawing import Box, Sheet, Text
from survey.sheets.lettering import text_box, texts_overlap
from survey.sheets.placing import exploded, on_paper


def sheet_texts(sheet: Sheet) -> list[Text]:
    """Every text a sheet shows, on paper; of a clipped drawing those that reach into its window."""
    texts = [mark for mark in exploded(sheet.primitives) if isinstance(mark, Text)]
    for placed in sheet.placed:
        for mark in on_paper(placed):
            if isinstance(mark, Text) and (placed.clip is None or placed.clip.meets(text_box(mark))):
                texts.append(mark)
    return texts


def overprints(sheet: Sheet) -> list[tuple[str, str]]:
    """Pairs of texts that print over each other."""
    texts = sheet_texts(sheet)
    boxes = np.array([(b.left, b.bottom, b.right, b.top) for b in map(text_box, texts)])
    found = []
    for i in range(len(texts)):
        later = boxes[i + 1 :]
        near = (
            (later[:, 0] < boxes[i, 2])
            & (later[:, 2] > boxes[i, 0])
            & (later[:, 1] < boxes[i, 3])
            & (later[:, 3] > boxes[i, 1])
        )
        for j in np.flatnonzero(near) + i + 1:
            if texts_overlap(texts[i], texts[j]):
                found.append((texts[i].text, texts[j].text))
    return found


def outside(sheet: Sheet, margin_mm: float = 0.0) -> list[str]:
    """Texts that are not wholly on the paper, clipped drawings left aside."""
    paper = Box(0.0, 0.0, sheet.width_mm, sheet.height_mm).grown(-margin_mm)
    whole = Sheet(sheet.name, sheet.title, sheet.width_mm, sheet.height_mm,
                  tuple(p for p in sheet.placed if p.clip is None), sheet.primitives)  # fmt: skip
    return [text.text for text in sheet_texts(whole) if not paper.holds(text_box(text))]


def said(sheets: tuple[Sheet, ...]) -> str:
    """All words of some sheets, line breaks taken out."""
    return " ".join(text.text for sheet in sheets for text in sheet_texts(sheet))
