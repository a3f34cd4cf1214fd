"""Many readings in, an athlete's trend and cohorts side by side out."""
