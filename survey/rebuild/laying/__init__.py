"""The order of laying, saved bricks, and planning anew while courses go up."""
