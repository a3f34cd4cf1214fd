"""The tables of the results database, and which versions of them are read."""

SCHEMA_VERSION = 2
READ_VERSIONS = (0, 1, SCHEMA_VERSION)  # an empty file; before the coach's own eye, which is a table more
SCHEMA = """
CREATE TABLE IF NOT EXISTS clips (
    clip TEXT PRIMARY KEY, content TEXT NOT NULL, athlete TEXT NOT NULL, cohort TEXT NOT NULL, date TEXT NOT NULL,
    status TEXT NOT NULL, reason TEXT NOT NULL, frames INTEGER, seconds_of_work REAL, duration_s REAL,
    made_with TEXT NOT NULL);
CREATE INDEX IF NOT EXISTS clips_by_athlete ON clips (athlete, date);
CREATE INDEX IF NOT EXISTS clips_by_date ON clips (date);
CREATE INDEX IF NOT EXISTS clips_by_cohort ON clips (cohort);
CREATE TABLE IF NOT EXISTS attempts (
    id INTEGER PRIMARY KEY, clip TEXT NOT NULL REFERENCES clips ON DELETE CASCADE, link TEXT NOT NULL UNIQUE,
    number INTEGER NOT NULL, skill TEXT NOT NULL, setting TEXT NOT NULL, start_s REAL NOT NULL, end_s REAL NOT NULL,
    key_start_s REAL NOT NULL, key_end_s REAL NOT NULL, direction INTEGER NOT NULL, lead_side TEXT NOT NULL,
    certainty REAL NOT NULL, told INTEGER NOT NULL);
CREATE INDEX IF NOT EXISTS attempts_by_clip ON attempts (clip);
CREATE TABLE IF NOT EXISTS readings (
    attempt INTEGER NOT NULL REFERENCES attempts ON DELETE CASCADE, detail TEXT NOT NULL, side TEXT NOT NULL,
    value REAL, low REAL, high REAL, unit TEXT NOT NULL, usable_share REAL NOT NULL, reason TEXT NOT NULL,
    at_s REAL, line TEXT NOT NULL, PRIMARY KEY (attempt, detail, side)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS curves (
    attempt INTEGER NOT NULL REFERENCES attempts ON DELETE CASCADE, detail TEXT NOT NULL, side TEXT NOT NULL,
    unit TEXT NOT NULL, samples BLOB NOT NULL, PRIMARY KEY (attempt, detail, side)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS pictures (
    attempt INTEGER NOT NULL REFERENCES attempts ON DELETE CASCADE, detail TEXT NOT NULL, side TEXT NOT NULL,
    file TEXT NOT NULL, width INTEGER NOT NULL, height INTEGER NOT NULL, points TEXT NOT NULL,
    PRIMARY KEY (attempt, detail, side)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS notes (
    id INTEGER PRIMARY KEY, about TEXT NOT NULL, date TEXT NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL,
    UNIQUE (about, date, kind, text));
CREATE TABLE IF NOT EXISTS eye (
    id INTEGER PRIMARY KEY, content TEXT NOT NULL, link TEXT NOT NULL, athlete TEXT NOT NULL, skill TEXT NOT NULL,
    start_s REAL NOT NULL, end_s REAL NOT NULL, detail TEXT NOT NULL, side TEXT NOT NULL, verdict TEXT NOT NULL, said TEXT NOT NULL);
CREATE INDEX IF NOT EXISTS eye_by_content ON eye (content);
CREATE TABLE IF NOT EXISTS pins (
    athlete TEXT NOT NULL, skill TEXT NOT NULL, detail TEXT NOT NULL, side TEXT NOT NULL, until TEXT NOT NULL,
    PRIMARY KEY (athlete, skill)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS roster (
    athlete TEXT PRIMARY KEY, cohort TEXT NOT NULL, lead_side TEXT NOT NULL, consent_until TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS facts (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
"""
