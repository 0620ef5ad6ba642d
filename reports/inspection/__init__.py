"""Inspections by plan: opened on a job, answered item by item, and put on its certificate."""
