-- What is kept. Times are milliseconds since 1970 in UTC. Names are as people wrote them; folded is the same
-- in lower case, for finding.

CREATE TABLE migration (
	version INTEGER PRIMARY KEY,
	at_ms   INTEGER NOT NULL,
	program TEXT NOT NULL
);

CREATE TABLE horse (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	name   TEXT NOT NULL,
	folded TEXT NOT NULL UNIQUE,
	size   TEXT NOT NULL,
	note   TEXT NOT NULL
);

CREATE TABLE course (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	name   TEXT NOT NULL, -- of its last version
	folded TEXT NOT NULL,
	away   INTEGER NOT NULL
);

CREATE TABLE course_version (
	id        INTEGER PRIMARY KEY AUTOINCREMENT,
	course_id INTEGER NOT NULL REFERENCES course(id) ON DELETE CASCADE,
	version   INTEGER NOT NULL, -- from 1
	name      TEXT NOT NULL,
	folded    TEXT NOT NULL,
	plan      BLOB NOT NULL,    -- as YAML
	sha256    TEXT NOT NULL,
	made_ms   INTEGER NOT NULL,
	UNIQUE (course_id, version)
);

CREATE TABLE ride (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	files      TEXT NOT NULL UNIQUE, -- SHA-256 over those of its files, sorted
	kept_ms    INTEGER NOT NULL,
	at_ms      INTEGER NOT NULL,     -- when it began or, while that is not known, when it was kept
	horse_id   INTEGER REFERENCES horse(id),
	course_id  INTEGER REFERENCES course(id),
	version_id INTEGER REFERENCES course_version(id),
	label      TEXT NOT NULL,
	note       TEXT NOT NULL,
	columns    TEXT NOT NULL,
	folded     TEXT NOT NULL, -- label, note and names of files
	-- the working out
	state      TEXT NOT NULL CHECK (state IN ('waiting', 'working', 'ready', 'refused')),
	why        TEXT NOT NULL,
	edition    INTEGER NOT NULL, -- counts up when what it is worked out from changes
	tries      INTEGER NOT NULL,
	worker     TEXT NOT NULL,    -- who holds it; '' for nobody
	lease_ms   INTEGER NOT NULL, -- until when
	-- what it told
	program    TEXT NOT NULL,
	start_ms   INTEGER,
	duration_s REAL NOT NULL,
	basis      TEXT NOT NULL,
	jumps      INTEGER NOT NULL,
	refusals   INTEGER NOT NULL,
	lines      INTEGER NOT NULL,
	rounds     INTEGER NOT NULL,
	strides    INTEGER NOT NULL
);
CREATE INDEX ride_by_time ON ride (at_ms, id);
CREATE INDEX ride_by_horse ON ride (horse_id, at_ms, id);
CREATE INDEX ride_by_course ON ride (course_id, at_ms, id);
CREATE INDEX ride_by_version ON ride (version_id);
CREATE INDEX ride_by_state ON ride (state, at_ms, id);
CREATE INDEX ride_to_do ON ride (id) WHERE state IN ('waiting', 'working');

CREATE TABLE file (
	ride_id INTEGER NOT NULL REFERENCES ride(id) ON DELETE CASCADE,
	nth     INTEGER NOT NULL, -- from 0, in the order given
	name    TEXT NOT NULL,
	sha256  TEXT NOT NULL,
	bytes   INTEGER NOT NULL,
	PRIMARY KEY (ride_id, nth)
) WITHOUT ROWID;
CREATE INDEX file_by_sum ON file (sha256);

-- Files that no ride has any more, to be unlinked.
CREATE TABLE doomed (
	sha256 TEXT PRIMARY KEY
) WITHOUT ROWID;

-- What a ready ride tells, packed with gzip. Apart from ride, so that lists read little.
CREATE TABLE told (
	ride_id INTEGER PRIMARY KEY REFERENCES ride(id) ON DELETE CASCADE,
	horse   TEXT NOT NULL, -- the name in it
	debrief BLOB NOT NULL,
	record  BLOB NOT NULL
);

-- Every line that was ridden, with what a list of attempts shows.
CREATE TABLE ridden (
	ride_id     INTEGER NOT NULL REFERENCES ride(id) ON DELETE CASCADE,
	nth         INTEGER NOT NULL, -- in the debrief's lines, from 0
	course_id   INTEGER,          -- as of its ride
	from_id     TEXT NOT NULL,
	to_id       TEXT NOT NULL,
	kind        TEXT NOT NULL,
	round       INTEGER,
	attempt     INTEGER NOT NULL,
	start_s     REAL,
	distance_m  REAL,
	says        TEXT NOT NULL,
	strides_by  TEXT NOT NULL,
	strides     REAL, strides_low REAL, strides_high REAL,
	length      REAL, length_low  REAL, length_high  REAL,
	time        REAL, time_low    REAL, time_high    REAL,
	speed       REAL, speed_low   REAL, speed_high   REAL,
	speed_in    REAL, speed_in_low  REAL, speed_in_high  REAL,
	speed_out   REAL, speed_out_low REAL, speed_out_high REAL,
	track       REAL, track_low   REAL, track_high   REAL,
	radius      REAL, radius_low  REAL, radius_high  REAL,
	beyond      REAL, beyond_low  REAL, beyond_high  REAL,
	PRIMARY KEY (ride_id, nth)
) WITHOUT ROWID;
CREATE INDEX ridden_by_line ON ridden (course_id, from_id, to_id, ride_id);

-- What a server that shows the store keeps of its own, such as the hash of its passcode. Never exported.
CREATE TABLE setting (
	key   TEXT PRIMARY KEY,
	value TEXT NOT NULL
) WITHOUT ROWID;

-- Who is signed in there: hashes of what their browsers hold.
CREATE TABLE session (
	hash     BLOB PRIMARY KEY,
	until_ms INTEGER NOT NULL
) WITHOUT ROWID;

-- What a store of layout 1 held.
INSERT INTO migration VALUES (1, 1780000000000, 'groundline of layout 1');
INSERT INTO horse VALUES (1, 'Bramble', 'bramble', 'large pony', 'a note'), (3, 'Élan', 'élan', '', '');
INSERT INTO course VALUES (1, 'Old field', 'old field', 0);
INSERT INTO course_version VALUES (1, 1, 1, 'Old field', 'old field', CAST('plan: groundline/1
name: "Old field"
units: metres
obstacles:
  - {id: "1", kind: vertical, at: [10, 10], facing: 0, height: 0.8, spread: 0.3, width: 3.5}
  - {id: "2", kind: oxer, at: [10, 32.25], facing: 0, height: 0.8, spread: 0.8, width: 3.5}
route: ["1", "2"]
' AS BLOB), '36448597dd73100844e1c337c55d84cbb0f59c687b68802eccc7e4633f370636', 1780000000000);
INSERT INTO ride VALUES
	(1, '1bc70be7c0ccd5087b008c5deea8e12597210e63b1df8f3cd1a6181d79d64d5c', 1780000000000, 1779000000000, 1, 1, 1, 'morning', '', '', 'morning' || char(10) || char(10) || 'a.gpx' || char(10) || 'b.csv',
		'ready', '', 1, 1, '', 0, 'groundline of layout 1', 1779000000000, 95.5, 'position+motion', 2, 0, 1, 1, 40),
	(2, '1c1f061b8bdb0e70f855be91d00f8fe77b919b24ba44926469366e2087f46da0', 1780000001000, 1780000001000, 3, 1, 1, '', 'windy', '', 'windy' || char(10) || 'b.csv',
		'ready', '', 2, 1, '', 0, 'groundline of layout 1', NULL, 95.5, 'motion', 2, 0, 2, 0, 40),
	(5, 'f63b8830336381328de663d4c37271eb1374de9cf30eb3ad7c74573ab057ef17', 1780000002000, 1780000002000, NULL, NULL, NULL, '', '', '', char(10) || char(10) || 'c.csv',
		'refused', 'c.csv: nothing to read', 1, 1, '', 0, 'groundline of layout 1', NULL, 0, '', 0, 0, 0, 0, 0),
	(6, 'f6bf829aa7ed1dc3034891cf2cda8c6cad3935ad9f3fe83e10247ba2d035538f', 1780000003000, 1780000003000, NULL, NULL, NULL, '', '', '', char(10) || char(10) || 'a.gpx',
		'working', '', 1, 1, 'ANOTHERPROCESS', 1780000030000, '', NULL, 0, '', 0, 0, 0, 0, 0);
INSERT INTO file VALUES (1, 0, 'a.gpx', '8a87f06e5b7eae58cdc3c8e8b2d3e7402336cb7af2947fbd7f9d169306a440d8', 12), (1, 1, 'b.csv', 'c8b30a42a3392d9e8af5fa4eabc38a749edfce094ce581a313c4d9e0d04e07d3', 12), (2, 0, 'b.csv', 'c8b30a42a3392d9e8af5fa4eabc38a749edfce094ce581a313c4d9e0d04e07d3', 12), (5, 0, 'c.csv', 'df03da347750b53020de2c14e583a2ccd945a4aadbc21875f54606ad571c8140', 12), (6, 0, 'a.gpx', '8a87f06e5b7eae58cdc3c8e8b2d3e7402336cb7af2947fbd7f9d169306a440d8', 12);
INSERT INTO ridden (ride_id, nth, course_id, from_id, to_id, kind, attempt, says, strides_by, strides, strides_low, strides_high) VALUES
	(1, 0, 1, '1', '2', 'related', 1, 'right', 'counted', 5, 5, 5),
	(2, 0, 1, '1', '2', 'related', 1, '', 'counted', 5, 5, 5),
	(2, 1, 1, '1', '2', 'related', 2, '', 'counted', 6, 5, 6);
INSERT INTO setting VALUES ('passcode', 'a hash');
PRAGMA application_id = 1198681700;
PRAGMA user_version = 1;
