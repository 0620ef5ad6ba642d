"""How good production ranges are, on simulated fleets whose truth is known."""

from diagnostics.learning.study.cells import Cell, Outcome, cells, follow, outcomes
from diagnostics.learning.study.summary import Row, markdown, summary

__all__ = ["Cell", "Outcome", "Row", "cells", "follow", "markdown", "outcomes", "summary"]
