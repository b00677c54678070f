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
