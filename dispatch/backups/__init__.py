"""Copies of the whole database: made while it is used, proved, and put back. For commands only."""
