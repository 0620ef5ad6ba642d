"""Signatures of certificates: the shop's keys, signing a finished file, and judging one that somebody brings."""
