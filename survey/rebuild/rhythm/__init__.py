"""The rhythm a ring was laid in: widths, joints, trend and pattern, read from what stands."""
