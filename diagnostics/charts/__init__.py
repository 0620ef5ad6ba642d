"""Charts of what was learned, drawn by matplotlib without pyplot. No Django below here."""
