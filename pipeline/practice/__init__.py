"""Scored readings, trends, the roster and the coach's own choices in; what each athlete works on next, who stands where and
for how many minutes out. No drawing here."""
