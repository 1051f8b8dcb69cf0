"""Where each brick of a ring goes: spacing, stagger and the marks to lay it by."""
