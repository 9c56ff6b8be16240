"""What agreements promise, include, charge, cost and bring in."""
