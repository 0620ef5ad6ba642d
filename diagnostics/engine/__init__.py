"""The functional core of diagnosis: top systems, signals, motion, faults, inference, planning, proof, without Django."""
