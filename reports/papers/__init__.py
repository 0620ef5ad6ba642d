"""The papers of a job that are no certificate: what is read for them, and their addresses."""
