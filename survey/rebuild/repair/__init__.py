"""Standing bricks left where they are, and the soffit led through the gaps between them."""
