"""The report: its model, and one file for each way of showing it."""
