//! The tables, as a forward-only list of migrations: the file's `user_version` counts those applied. A released
//! migration is never edited; a change is a new one at the end. Opens nothing.

/// Marks the file as ours (`PRAGMA application_id`): "clip" in ASCII.
pub(crate) const APPLICATION_ID: i64 = 0x636c_6970;

/// Each brings a file from version `index` to `index + 1`.
pub(crate) const MIGRATIONS: &[&str] = &[FIRST, SEQUENCE, FIGURES, VISITS];

/// Rows of one verdict refer to `verdict_id`; `ord` keeps their order. Times as in `model`. The table validates words
/// and their reason too, so that no other program can write what this one would reject.
const FIRST: &str = "
CREATE TABLE site (
  site_id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE round (
  round_id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE,
  site_id INTEGER NOT NULL REFERENCES site, started_wall_ms INTEGER NOT NULL, ended_wall_ms INTEGER,
  rules_hash TEXT NOT NULL, decision_rule TEXT NOT NULL, program_version TEXT NOT NULL
) STRICT;
CREATE TABLE reading (
  reading_id INTEGER PRIMARY KEY, round_id INTEGER NOT NULL REFERENCES round, device TEXT NOT NULL,
  at_us INTEGER NOT NULL, value REAL, unit TEXT NOT NULL, standard_uncertainty REAL, shown TEXT, state TEXT NOT NULL
) STRICT;
CREATE INDEX reading_of_round ON reading (round_id);
CREATE TABLE verdict (
  verdict_id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE,
  round_id INTEGER NOT NULL REFERENCES round, check_number INTEGER NOT NULL,
  unit_tag TEXT NOT NULL, component TEXT NOT NULL, rule TEXT NOT NULL, title TEXT NOT NULL, rule_hash TEXT NOT NULL,
  word TEXT NOT NULL CHECK (word IN ('pass', 'conditional pass', 'conditional fail', 'fail', 'no verdict')),
  reason TEXT, advice TEXT, decision_rule TEXT NOT NULL, at_us INTEGER NOT NULL, wall_ms INTEGER NOT NULL,
  json TEXT NOT NULL, digest BLOB NOT NULL CHECK (length(digest) = 32),
  CHECK ((word = 'no verdict') = (reason IS NOT NULL))
) STRICT;
CREATE INDEX verdict_of_component ON verdict (unit_tag, component, verdict_id);
CREATE INDEX verdict_of_round ON verdict (round_id);
CREATE TABLE verdict_reading (
  verdict_id INTEGER NOT NULL REFERENCES verdict, ord INTEGER NOT NULL, point TEXT NOT NULL, label TEXT NOT NULL,
  device TEXT NOT NULL, value REAL NOT NULL, unit TEXT NOT NULL, standard_uncertainty REAL NOT NULL, shown TEXT,
  count INTEGER NOT NULL, at_us INTEGER NOT NULL, PRIMARY KEY (verdict_id, ord)
) STRICT, WITHOUT ROWID;
CREATE TABLE judgement (
  verdict_id INTEGER NOT NULL REFERENCES verdict, ord INTEGER NOT NULL, name TEXT NOT NULL,
  word TEXT NOT NULL CHECK (word IN ('pass', 'conditional pass', 'conditional fail', 'fail', 'no verdict')),
  value REAL, unit TEXT NOT NULL, low REAL, high REAL, standard_uncertainty REAL, probability_of_conformance REAL,
  guard REAL, meter_too_coarse INTEGER NOT NULL, advice TEXT, source TEXT NOT NULL, source_class TEXT NOT NULL,
  PRIMARY KEY (verdict_id, ord)
) STRICT, WITHOUT ROWID;
CREATE TABLE plate_value (
  verdict_id INTEGER NOT NULL REFERENCES verdict, ord INTEGER NOT NULL, name TEXT NOT NULL, value REAL NOT NULL,
  unit TEXT NOT NULL, source TEXT NOT NULL, PRIMARY KEY (verdict_id, ord)
) STRICT, WITHOUT ROWID;
CREATE TABLE hold_point (
  verdict_id INTEGER NOT NULL REFERENCES verdict, ord INTEGER NOT NULL, name TEXT NOT NULL, shown INTEGER NOT NULL,
  how TEXT, at_us INTEGER, PRIMARY KEY (verdict_id, ord)
) STRICT, WITHOUT ROWID;
CREATE TABLE recording (
  recording_id INTEGER PRIMARY KEY, round_id INTEGER REFERENCES round, path TEXT NOT NULL, sha256 TEXT NOT NULL,
  size_bytes INTEGER NOT NULL, started_wall_ms INTEGER NOT NULL
) STRICT;
";

/// Gives verdicts a sequence number in their round and a digest version. Stored verdicts are numbered in the order of
/// their commits and keep their digest. Raw readings lose their index: it was a third of what they wrote, and the
/// only query for the readings of a round is a count.
const SEQUENCE: &str = "
ALTER TABLE verdict ADD COLUMN seq INTEGER NOT NULL DEFAULT 0;
ALTER TABLE verdict ADD COLUMN digest_version INTEGER NOT NULL DEFAULT 1;
UPDATE verdict SET seq = numbered.seq
  FROM (SELECT verdict_id, row_number() OVER (PARTITION BY round_id ORDER BY verdict_id) AS seq FROM verdict)
       AS numbered
  WHERE numbered.verdict_id = verdict.verdict_id;
DROP INDEX reading_of_round;
DROP INDEX verdict_of_round;
CREATE UNIQUE INDEX verdict_of_round ON verdict (round_id, seq);
";

/// A reading records whether its value was at rest, and has an interval instead of a value if it was not. Follow-ups
/// get rows of their own. Stored values did not record whether they were at rest, so only typed ones count as
/// figures.
const FIGURES: &str = "
CREATE TABLE verdict_reading_3 (
  verdict_id INTEGER NOT NULL REFERENCES verdict, ord INTEGER NOT NULL, point TEXT NOT NULL, label TEXT NOT NULL,
  device TEXT NOT NULL, value REAL, unit TEXT NOT NULL, standard_uncertainty REAL, shown TEXT,
  count INTEGER NOT NULL, at_us INTEGER NOT NULL, settled INTEGER NOT NULL, at_least REAL, at_most REAL,
  CHECK (NOT settled OR (value IS NOT NULL AND standard_uncertainty IS NOT NULL)),
  PRIMARY KEY (verdict_id, ord)
) STRICT, WITHOUT ROWID;
INSERT INTO verdict_reading_3
  SELECT verdict_id, ord, point, label, device, value, unit, standard_uncertainty, shown, count, at_us,
         device = 'typed', NULL, NULL
  FROM verdict_reading;
DROP TABLE verdict_reading;
ALTER TABLE verdict_reading_3 RENAME TO verdict_reading;
CREATE TABLE follow_up (
  follow_up_id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE,
  verdict_id INTEGER NOT NULL REFERENCES verdict, round_id INTEGER NOT NULL REFERENCES round, seq INTEGER NOT NULL,
  kind TEXT NOT NULL CHECK (kind IN ('completed', 'amended')),
  word TEXT CHECK (word IN ('pass', 'conditional pass', 'conditional fail', 'fail', 'no verdict')),
  point TEXT NOT NULL, label TEXT NOT NULL, device TEXT NOT NULL, value REAL, unit TEXT NOT NULL,
  standard_uncertainty REAL, shown TEXT, count INTEGER NOT NULL, reading_at_us INTEGER NOT NULL,
  settled INTEGER NOT NULL, at_least REAL, at_most REAL, at_us INTEGER NOT NULL, wall_ms INTEGER NOT NULL,
  json TEXT NOT NULL, digest_version INTEGER NOT NULL, digest BLOB NOT NULL CHECK (length(digest) = 32),
  CHECK ((kind = 'amended') = (word IS NOT NULL)), CHECK (kind = 'amended' OR settled),
  CHECK (NOT settled OR (value IS NOT NULL AND standard_uncertainty IS NOT NULL))
) STRICT;
CREATE INDEX follow_up_of_verdict ON follow_up (verdict_id);
CREATE UNIQUE INDEX follow_up_of_round ON follow_up (round_id, seq);
";

/// Visits and what happened in them. Events are only added; `machine` and `closed_wall_ms` of a visit follow from its
/// events and change with them. A machine has one visit open at a unit at most. Stored verdicts belong to no visit.
const VISITS: &str = "
CREATE TABLE visit (
  visit_id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, site_id INTEGER NOT NULL REFERENCES site,
  unit_tag TEXT NOT NULL, opened_wall_ms INTEGER NOT NULL, machine TEXT NOT NULL, closed_wall_ms INTEGER
) STRICT;
CREATE UNIQUE INDEX visit_open ON visit (site_id, unit_tag, machine) WHERE closed_wall_ms IS NULL;
CREATE TABLE visit_event (
  visit_event_id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE,
  visit_id INTEGER NOT NULL REFERENCES visit, seq INTEGER NOT NULL, round_id INTEGER NOT NULL REFERENCES round,
  kind TEXT NOT NULL CHECK (kind IN ('opened', 'finding', 'owed', 'restored', 'skipped', 'locked out', 'power back',
                                     'ran', 'paused', 'resumed', 'taken over', 'closed')),
  machine TEXT NOT NULL, by TEXT, component TEXT NOT NULL, check_number INTEGER, rule TEXT, hold_point TEXT, text TEXT,
  as_left INTEGER, at_us INTEGER NOT NULL, wall_ms INTEGER NOT NULL,
  digest_version INTEGER NOT NULL, digest BLOB NOT NULL CHECK (length(digest) = 32),
  CHECK ((kind = 'opened') = (seq = 1)), CHECK ((kind = 'finding') = (as_left IS NOT NULL))
) STRICT;
CREATE UNIQUE INDEX visit_event_of_visit ON visit_event (visit_id, seq);
ALTER TABLE verdict ADD COLUMN visit_id INTEGER REFERENCES visit;
CREATE INDEX verdict_of_visit ON verdict (visit_id) WHERE visit_id IS NOT NULL;
";
