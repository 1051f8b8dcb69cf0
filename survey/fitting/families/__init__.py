"""What a mason may have set out: the builds of every family, their profiles, priors and standing place."""
