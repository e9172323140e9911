"""Commands, tables, sheets and report pages."""
