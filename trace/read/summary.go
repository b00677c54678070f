package read

import "time"

// Summary is what was understood of one file, for its owner to check.
type Summary struct {
	File       string
	Format     string // "GPX 1.1", "TCX", "FIT", "CSV"
	Packed     string // "gzip", "zip" or empty
	Device     string // what the file says wrote it; empty where it does not
	Start      time.Time
	DateKnown  bool // false: the clock counts from an unknown instant; Start is zero
	ZoneKnown  bool // false: a local time without zone, read as UTC
	DurationS  float64
	Rows       int // samples or points kept
	Unreadable int // left out: a field could not be read
	OutOfOrder int // left out: the time ran backwards
	Repeated   int // left out: the time of the sample before again
	RateHz     float64
	JitterS    float64 // standard deviation of the time step, robust
	Gaps       []Gap

	Positions *PositionSummary
	Motion    *MotionSummary
	Columns   []Column // of a CSV file
	Ignored   []string // columns and archive files not used
}

// Gap is a hole in the samples, seconds on the recording's clock once joined.
type Gap struct{ FromS, ToS float64 }

// PositionSummary tells of places.
type PositionSummary struct {
	Segments            int
	HasHeight, HasSpeed bool
	// Outliers are fixes that no horse can reach: left where they are for the smoother to weigh.
	Outliers int
}

// MotionSummary tells of an accelerometer.
type MotionSummary struct {
	HasTurnRate    bool
	GravityRemoved bool
	// RestMS2 is the size of the mean specific force in the quietest seconds, m/s²: 9.81 for a
	// sensor that is whole and in the right unit, near 0 without gravity.
	RestMS2    float64
	ClippedMS2 float64 // 0: no sign of clipping
	Wild       int     // left out: beyond what any wearable sensor measures
}

// Column is how one column of a CSV file was understood.
type Column struct {
	Header string
	As     string // "t", "ax" … "gz", "lat", "lon", "height", "speed"
	Unit   string // as found: "g", "m/s²", "ms", …
	By     string // "header", "size", "resting vector", "name of the file", "hand", "assumed"
}

func summaries(parts []*part) []Summary {
	out := make([]Summary, len(parts))
	for i, p := range parts {
		out[i] = p.sum
	}
	return out
}
