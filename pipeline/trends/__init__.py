"""Many readings in (tables with READING_COLUMNS), an athlete's trends and cohorts side by side out. No drawing here."""
