"""Certificates of many jobs, issued in one run: each by itself, so that one that fails holds up none of the others."""
