"""The steps from one schema to the next, both ways."""
