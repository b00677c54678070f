package read

import (
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// shared is where recordings lie that are no part of the project.
const shared = "../../../shared/data"

func needShared(t *testing.T) {
	t.Helper()
	if _, err := os.Stat(shared); err != nil {
		t.Skip("the shared recordings are not here")
	}
}

// understood is what a real file must be read as. What is expected comes from the notes
// that lie beside the files (rates, counts, spacings, units), not from a reading of ours.
type understood struct {
	refused   string // part of the reason; else it is read
	points    int
	samples   int
	hz        float64
	marks     int
	turns     bool
	noGravity bool
	segments  int
	damaged   bool
	tolHz     float64
	durationS float64
}

var realFiles = map[string]understood{
	"real/csv-phone/linear-acceleration_absolute/human_jump_pocket.csv.gz": {samples: 12537 + 1, hz: 99.6, tolHz: 0.5, noGravity: true, durationS: 126},
	"real/csv-phone/ms_aXYZ_gXYZ/foot_run.csv.gz":                          {samples: 9064, hz: 100, turns: true, durationS: 102},
	"real/csv-phone/ns-epoch_seconds-elapsed_zyx/Accelerometer.csv.gz":     {samples: 1038, hz: 99.7, tolHz: 0.5, noGravity: true},
	"real/csv-phone/ns-epoch_seconds-elapsed_zyx/Gyroscope.csv.gz":         {refused: "a gyroscope alone"},
	"real/csv-phone/time-s_quoted_scientific/Accelerometer.csv.gz":         {samples: 10577, hz: 100.7, tolHz: 0.5},
	"real/csv-phone/time-s_quoted_scientific/Gyroscope.csv.gz":             {refused: "a gyroscope alone"},
	"real/csv-phone/time-s_quoted_scientific/Location.csv":                 {points: 35, hz: 1, tolHz: 0.01},
	"real/csv-phone/units-in-header_g_degs/imu.csv.gz":                     {samples: 13514, hz: 99.2, tolHz: 0.5, turns: true},
	"real/fit/activity-filecrc.fit":                                        {points: 14, hz: 1, damaged: true},
	"real/fit/activity-settings-corruptheader.fit":                         {points: 14, hz: 1, damaged: true},
	"real/fit/activity-small-fenix2-run.fit":                               {points: 2809, hz: 1, marks: 3},
	"real/fit/compressed-speed-distance-records.csv.gz":                    {refused: "expected columns for a time"},
	"real/fit/compressed-speed-distance.fit":                               {refused: "755 records, none with a place"},
	"real/fit/developer-types-sample.fit":                                  {points: 3424, hz: 1},
	"real/fit/garmin-fenix-5-run-records.csv.gz":                           {refused: `timestamp: "Sun Jun 11 07:34:09 PDT 2017", expected seconds`},
	"real/fit/garmin-fenix-5-run.fit":                                      {points: 21, hz: 0.5},
	"real/fit/jumps-mtb.fit":                                               {points: 7251, hz: 1, marks: 11},
	"real/gait-foot/imu_sample.csv.gz":                                     {refused: "two columns of this name"},
	"real/gait-foot/stride_borders_sample.csv":                             {refused: "expected columns"},
	"real/gait-foot/stride_events_sample.csv":                              {refused: "expected columns"},
	"real/gait-lowerback/HA001_TimeMeasure1_Test11_Trial1.csv.gz":          {samples: 13759, hz: 100, turns: true},
	"real/gait-lowerback/HA001_TimeMeasure1_Test5_Trial1.csv.gz":           {samples: 1246, hz: 100, turns: true},
	"real/gait-lowerback/HA001_TimeMeasure1_Test5_Trial2.csv.gz":           {samples: 1075, hz: 100, turns: true},
	"real/gait-lowerback/HA001_reference_initial_contacts.csv":             {refused: "no rows of numbers"},
	"real/gait-lowerback/HA001_reference_periods.csv":                      {refused: "expected columns"},
	"real/gait-lowerback/participant_metadata.json":                        {refused: "JSON"},
	"real/geodesy/GeodTest-odd-50.dat":                                     {refused: "no rows of numbers"},
	"real/gnss-rtk/drive-1.1hz.gpx.gz":                                     {points: 138, hz: 1},
	"real/gnss-rtk/drive-1.4hz.gpx.gz":                                     {points: 549, hz: 4},
	"real/gnss-rtk/drive-1.rtk.csv.gz":                                     {points: 549, hz: 4},
	"real/gnss-rtk/drive-1.truth.json":                                     {refused: "JSON"},
	"real/gnss-rtk/drive-1.turns.csv":                                      {refused: "expected columns"},
	"real/gnss-rtk/drive-3.1hz.gpx.gz":                                     {points: 138, hz: 1},
	"real/gnss-rtk/drive-3.4hz.gpx.gz":                                     {points: 549, hz: 4},
	"real/gnss-rtk/drive-3.rtk.csv.gz":                                     {points: 549, hz: 4},
	"real/gnss-rtk/drive-3.truth.json":                                     {refused: "JSON"},
	"real/gnss-rtk/drive-3.turns.csv":                                      {refused: "expected columns"},
	"real/gnss-rtk/walk-a.1hz.gpx.gz":                                      {points: 67, hz: 1},
	"real/gnss-rtk/walk-a.4hz.gpx.gz":                                      {points: 268, hz: 4},
	"real/gnss-rtk/walk-a.imu.csv.gz":                                      {samples: 9993, hz: 166.7, tolHz: 0.5, turns: true},
	"real/gnss-rtk/walk-a.rtk.csv.gz":                                      {points: 268, hz: 4},
	"real/gnss-rtk/walk-a.truth.json":                                      {refused: "JSON"},
	"real/gnss-rtk/walk-a.turns.csv":                                       {refused: "expected columns"},
	"real/gpx/around-visnjan-with-car.gpx":                                 {points: 104, hz: 1, tolHz: 1},
	"real/gpx/cerknicko-jezero-without-elevations.gpx":                     {points: 295, hz: 0.125, segments: 7},
	"real/gpx/cerknicko-jezero.gpx":                                        {points: 296, hz: 0.125, marks: 1, segments: 7},
	"real/gpx/first_and_last_elevation.gpx":                                {points: 9, tolHz: 1},
	"real/gpx/gpx1.0_with_all_fields.gpx":                                  {refused: "a single point"},
	"real/gpx/gpx1.1_with_extensions.gpx":                                  {refused: "1 waypoint and no track"},
	"real/gpx/route.gpx":                                                   {refused: "points of a route"},
	"real/gpx/track-with-empty-segment.gpx":                                {points: 9, tolHz: 1},
	"real/gpx/track-with-less-sec-time.gpx":                                {points: 2, hz: 1 / 0.994},
	"real/gpx/track_with_speed.gpx":                                        {points: 3, tolHz: 1},
	"real/gpx/unicode_with_bom.gpx":                                        {refused: "1 waypoint and no track"},
	"real/run-100hz/left_ankle.first-half.csv.gz":                          {samples: 75000, hz: 100, durationS: 750},
	"real/run-100hz/left_hip.first-half.csv.gz":                            {samples: 75000, hz: 100, durationS: 750},
	"real/steps-phone/user1_armband_1506423438471.csv.gz":                  {samples: 19296, hz: 100, durationS: 193},
	"real/steps-phone/user1_bag_1506423095164.csv.gz":                      {samples: 20605, hz: 100, durationS: 206},
	"real/steps-phone/user1_hand_1506421989895.csv.gz":                     {samples: 19405, hz: 100, durationS: 194},
	"real/steps-phone/user2_backpocket_1506422483834.csv.gz":               {samples: 19392, hz: 101, tolHz: 6, durationS: 193},
	"real/steps-phone/user2_frontpocket_1506422217391.csv.gz":              {samples: 21078, hz: 101, tolHz: 6, durationS: 207},
	"real/steps-phone/user2_neckpouch_1506423094931.csv.gz":                {samples: 19979, hz: 101, tolHz: 6, durationS: 198},
	"real/tcx/no_hr.tcx.gz":                                                {points: 383, hz: 1.0 / 6, marks: 2, segments: 3},
	"recordings/activity-2013.fit":                                         {points: 576, hz: 0.2, tolHz: 0.1, marks: 4},
	"recordings/compressed-header.fit":                                     {refused: "none with a place"},
	"recordings/gpx10-all-fields.gpx":                                      {refused: "a single point"},
	"recordings/gpx11-all-fields.gpx":                                      {refused: "a single point"},
	"recordings/gpx11-extensions.gpx":                                      {refused: "a single point"},
	"recordings/latin1.gpx":                                                {refused: "8 waypoints and no track"},
	"recordings/no-declaration.gpx":                                        {refused: "a single point"},
	"recordings/no-times.gpx":                                              {refused: "without a usable time"},
	"recordings/person-walking-lowback.csv":                                {samples: 1246, hz: 100, turns: true},
	"recordings/run-1hz.gpx.gz":                                            {points: 5104, hz: 1},
	"recordings/run-small.fit":                                             {points: 2809, hz: 1, marks: 3},
	"recordings/run.tcx.gz":                                                {points: 4668, hz: 1, marks: 19, segments: 20},
	"recordings/trail.gpx":                                                 {points: 285, hz: 0.1, segments: 3, marks: 5},
	"recordings/unterminated-strings.fit":                                  {refused: "none with a place"},
	"recordings/walk-hills.gpx":                                            {points: 513, hz: 1.0 / 11, segments: 2},
}

func TestEveryRealFileIsReadOrRefusedForTheRightReason(t *testing.T) {
	needShared(t)
	seen := 0
	for _, dir := range []string{"real", "recordings"} {
		require.NoError(t, filepath.WalkDir(filepath.Join(shared, dir), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			name, _ := filepath.Rel(shared, path)
			name = filepath.ToSlash(name)
			if strings.Contains(name, "LICENSES") || strings.HasSuffix(name, "README.md") {
				_, err := Open(context.Background(), []string{path}, Options{})
				requireFault(t, err, "no rows of numbers")
				return nil
			}
			want, known := realFiles[name]
			if !known {
				t.Errorf("%s: nothing is expected of it", name)
				return nil
			}
			seen++
			t.Run(name, func(t *testing.T) { want.check(t, path) })
			return nil
		}))
	}
	require.Equal(t, len(realFiles), seen)
}

func (want understood) check(t *testing.T, path string) {
	rec, sums, err := Inspect(context.Background(), []string{path}, Options{})
	if want.refused != "" {
		requireFault(t, err, want.refused)
		return
	}
	require.NoError(t, err)
	sound(t, rec)
	tol := want.tolHz
	if tol == 0 {
		tol = 0.01 * want.hz
	}
	require.Len(t, rec.Marks, want.marks)
	require.Equal(t, want.points > 0, rec.Positions != nil)
	require.Equal(t, want.samples > 0, rec.Motion != nil)
	if p := rec.Positions; p != nil {
		require.Len(t, p.TimeS, want.points)
		require.InDelta(t, want.hz, p.RateHz, tol)
		require.Equal(t, max(1, want.segments), sums[0].Positions.Segments)
	}
	if m := rec.Motion; m != nil {
		require.Len(t, m.TimeS, want.samples)
		require.InDelta(t, want.hz, m.RateHz, tol)
		require.Equal(t, want.turns, m.GX != nil)
		require.Equal(t, want.noGravity, m.GravityRemoved)
		if !want.noGravity {
			require.InDelta(t, standardGravity, sums[0].Motion.RestMS2, 0.5)
		}
	}
	if want.durationS > 0 {
		require.InDelta(t, want.durationS, rec.DurationS, 1)
	}
	require.Equal(t, want.damaged, strings.Contains(notes(rec), "cut off or damaged"))
}

// The records decoded by the library whose sample this is, beside the file.
func TestFITAgreesWithItsReferenceDecoding(t *testing.T) {
	needShared(t)
	rec, err := Open(context.Background(), []string{shared + "/real/fit/garmin-fenix-5-run.fit"}, Options{})
	require.NoError(t, err)
	rows := readTable(t, shared+"/real/fit/garmin-fenix-5-run-records.csv.gz")
	require.Len(t, rec.Positions.TimeS, len(rows)-1)
	for i, row := range rows[1:] {
		when, err := time.Parse("Mon Jan _2 15:04:05 2006 -0700", strings.Replace(row[0], "PDT 2017", "2017 -0700", 1))
		require.NoError(t, err)
		require.Equal(t, when.UTC(), rec.Start.Add(time.Duration(rec.Positions.TimeS[i]*1e9)))
		value := func(k int) float64 {
			v, err := strconv.ParseFloat(row[k], 64)
			require.NoError(t, err)
			return v
		}
		require.InDelta(t, value(3), rec.Positions.SpeedMS[i], 1e-9)
		require.InDelta(t, value(5)*180/math.Pow(2, 31), rec.Positions.LatDeg[i], 1e-9)
		require.InDelta(t, value(6)*180/math.Pow(2, 31), rec.Positions.LonDeg[i], 1e-9)
		require.InDelta(t, value(7), rec.Positions.HeightM[i], 1e-9)
	}
}

func readTable(t *testing.T, path string) [][]string {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	plain, err := gzip.NewReader(file)
	require.NoError(t, err)
	rows, err := csv.NewReader(plain).ReadAll()
	require.NoError(t, err)
	return rows
}

// GPX and table of one receiver hold the same places.
func TestGPXAndTableOfOneReceiverAgree(t *testing.T) {
	needShared(t)
	for _, name := range []string{"drive-1", "drive-3", "walk-a"} {
		a, err := Open(context.Background(), []string{shared + "/real/gnss-rtk/" + name + ".4hz.gpx.gz"}, Options{})
		require.NoError(t, err)
		b, err := Open(context.Background(), []string{shared + "/real/gnss-rtk/" + name + ".rtk.csv.gz"}, Options{})
		require.NoError(t, err)
		require.Equal(t, a.Start, b.Start)
		require.InDeltaSlice(t, a.Positions.TimeS, b.Positions.TimeS, 1e-6)
		require.Equal(t, a.Positions.LatDeg, b.Positions.LatDeg)
		require.Equal(t, a.Positions.LonDeg, b.Positions.LonDeg)
	}
	rec, err := Open(context.Background(), []string{shared + "/real/gnss-rtk/walk-a.4hz.gpx.gz", shared + "/real/gnss-rtk/walk-a.imu.csv.gz"}, Options{})
	require.NoError(t, err)
	require.InDelta(t, 1.212, rec.Motion.TimeS[0], 1e-6) // 17:30:40.961 less 17:30:39.749
}

// The files of one phone logger, given by hand: three sensors on a clock that only counts.
func TestAPhonesThreeFilesAreOneRecording(t *testing.T) {
	needShared(t)
	dir := shared + "/real/csv-phone/time-s_quoted_scientific/"
	rec, err := Open(context.Background(), []string{dir + "Location.csv", dir + "Gyroscope.csv.gz", dir + "Accelerometer.csv.gz"}, Options{})
	require.NoError(t, err)
	sound(t, rec)
	require.Len(t, rec.Positions.TimeS, 35)
	require.Zero(t, rec.Positions.TimeS[0])
	require.InDelta(t, 3.446083327e-3-1.004350185e-1, rec.Motion.TimeS[0], 0.02)
	require.NotNil(t, rec.Motion.GX)
	require.Greater(t, len(rec.Motion.TimeS), 10_570)
	dir = shared + "/real/csv-phone/ns-epoch_seconds-elapsed_zyx/"
	rec, err = Open(context.Background(), []string{dir + "Accelerometer.csv.gz", dir + "Gyroscope.csv.gz"}, Options{})
	require.NoError(t, err)
	require.InDelta(t, -0.539340615272522, rec.Motion.GX[0], 1e-12)
	require.InDelta(t, 2.553125563177466, rec.Motion.AX[0], 1e-12)
}

// Every invented round is read without flags, on the clock that its truth has.
func TestEveryRoundIsReadWithoutFlags(t *testing.T) {
	needShared(t)
	dirs, err := filepath.Glob(shared + "/rounds/*/truth.json")
	require.NoError(t, err)
	more, err := filepath.Glob(shared + "/practice/*/truth.json")
	require.NoError(t, err)
	require.NotEmpty(t, dirs)
	for _, path := range append(dirs, more...) {
		dir := filepath.Dir(path)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			var truth struct {
				Start     time.Time
				DurationS float64 `json:"duration_s"`
				Sensors   struct {
					GNSS *struct {
						Hz, Gaps float64
					}
					Inertial *struct {
						Hz      float64
						Dialect string
						ClockS  float64 `json:"clock_s"`
					}
				}
			}
			require.NoError(t, json.Unmarshal(text, &truth))
			var files []string
			for _, f := range []string{"ride.gpx", "motion.csv"} {
				if _, err := os.Stat(filepath.Join(dir, f)); err == nil {
					files = append(files, filepath.Join(dir, f))
				}
			}
			rec, sums, err := Inspect(context.Background(), files, Options{})
			require.NoError(t, err)
			sound(t, rec)
			require.NotContains(t, notes(rec), "warning")
			require.Equal(t, truth.Sensors.GNSS != nil, rec.Positions != nil)
			require.Equal(t, truth.Sensors.Inertial != nil, rec.Motion != nil)
			if rec.Positions != nil {
				require.Equal(t, truth.Start, rec.Start)
				require.InDelta(t, truth.Sensors.GNSS.Hz, rec.Positions.RateHz, 1e-6)
				require.InDelta(t, truth.DurationS, rec.Positions.TimeS[len(rec.Positions.TimeS)-1], 1.01)
			}
			if rec.Motion != nil {
				in := truth.Sensors.Inertial
				require.InDelta(t, in.Hz, rec.Motion.RateHz, 0.002*in.Hz)
				require.False(t, rec.Motion.GravityRemoved)
				require.InDelta(t, standardGravity, sums[len(sums)-1].Motion.RestMS2, 0.6)
				require.InDelta(t, in.ClockS, rec.Motion.TimeS[0], 0.01)
			}
		})
	}
}

// Two sensors in one table, a running number for a clock: read by columns named by hand, at
// the rate that its makers' examples set.
func TestTwoFeetByHand(t *testing.T) {
	needShared(t)
	path := shared + "/real/gait-foot/imu_sample.csv.gz"
	rec, sums, err := Inspect(context.Background(), []string{path}, Options{Columns: "t=#1@204.8,ax=#2,ay=#4,az=#6,gx=#8,gy=#10,gz=#12"})
	require.NoError(t, err)
	sound(t, rec)
	require.Len(t, rec.Motion.TimeS, 7928)
	require.InDelta(t, 204.8, rec.Motion.RateHz, 1e-6)
	require.InDelta(t, 0.8808107066241624, rec.Motion.AX[0], 1e-12)
	require.InDelta(t, -0.11240170597252427*math.Pi/180, rec.Motion.GX[0], 1e-12)
	require.InDelta(t, standardGravity, sums[0].Motion.RestMS2, 0.5)
	right, err := Open(context.Background(), []string{path}, Options{Columns: "t=#1@204.8hz,ax=#3,ay=#5,az=#7"})
	require.NoError(t, err)
	require.InDelta(t, 0.3115525903932168, right.Motion.AX[0], 1e-12)
}

// On every recording of a body in motion that is here, gravity tells the unit; with the slow
// part taken out, as devices do, none is seen. The two lie far apart: the spread of the
// second's mean stays below 0.19 with gravity and above 0.42 without, the limit is 0.3.
func TestGravityTellsTheUnitOnEveryRecording(t *testing.T) {
	needShared(t)
	n := 0
	for _, pattern := range []string{"rounds/*/motion.csv", "practice/*/motion.csv", "real/steps-phone/*.gz", "real/run-100hz/*.gz", "real/gait-lowerback/*.csv.gz"} {
		paths, err := filepath.Glob(filepath.Join(shared, pattern))
		require.NoError(t, err)
		for _, path := range paths {
			rec, err := Open(context.Background(), []string{path}, Options{})
			require.NoError(t, err)
			m := rec.Motion
			var inG, linear [3][]float64
			second := int(m.RateHz)
			for k, a := range [3][]float64{m.AX, m.AY, m.AZ} {
				sum := 0.0
				for i, v := range a {
					if sum += v; i >= second {
						sum -= a[i-second]
					}
					inG[k] = append(inG[k], v/standardGravity)
					linear[k] = append(linear[k], v-sum/float64(min(i+1, second)))
				}
			}
			require.Equal(t, "m/s2", findGravity(m.TimeS, [3][]float64{m.AX, m.AY, m.AZ}).restUnit(), path)
			require.Equal(t, "g", findGravity(m.TimeS, inG).restUnit(), path)
			require.Empty(t, findGravity(m.TimeS, linear).restUnit(), path)
			n++
		}
	}
	require.Greater(t, n, 20)
}
