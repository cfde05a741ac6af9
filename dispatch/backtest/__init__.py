"""A year of real hours held against forecasts, verdicts and offers. Entered by commands only."""
