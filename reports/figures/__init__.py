"""What the owner wants to know of the shop, computed from what was recorded. No Django below here."""
