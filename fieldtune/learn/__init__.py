"""What shots teach: priors, likelihood, posterior."""
