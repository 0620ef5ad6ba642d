"""The computation of a work plan, without Django: order of tasks, durations, when a job will be ready."""
