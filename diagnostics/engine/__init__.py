"""The core of diagnosis, without Django: top systems, signals, motion, faults, inference, planning, proof."""
