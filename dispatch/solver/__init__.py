"""The solver's own process: models in as files, answers out as files. It knows no Django."""
