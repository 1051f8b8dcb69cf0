"""Two surveys of one arch: whether it is one, how they are tied, and what moved between them."""
