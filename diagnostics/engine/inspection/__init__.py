"""What an inspection of a top before a purchase must cover, by its system."""
