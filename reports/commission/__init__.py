"""What an outside buyer commissions: the inspection of a top before they purchase the car."""
