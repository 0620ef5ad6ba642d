"""What fails, when, and in which production range: learned from what was seen of each unit. No Django below here."""
