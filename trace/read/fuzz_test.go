package read

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// tight are limits under which no input can cost much.
func tight() Options {
	return Options{Limits: Limits{Bytes: 8 << 20, Ratio: 200, Rows: 100_000, LineBytes: 64 << 10}}
}

// harmless demands of any input: no panic, a fault of this package or a sound recording.
func harmless(t *testing.T, inputs ...Input) {
	t.Helper()
	for _, opt := range []Options{tight(), {PlacesOnly: true, Limits: tight().Limits}} {
		rec, sums, err := InspectBytes(context.Background(), inputs, opt)
		if err != nil {
			var faults *Faults
			if !errors.As(err, &faults) || len(faults.List) == 0 || faults.Error() == "" {
				t.Fatalf("an error without place: %v", err)
			}
			continue
		}
		if len(sums) == 0 {
			t.Fatal("a recording without summary")
		}
		sound(t, rec)
	}
}

// seedFrom adds small real files, where they are here, and spoilt variants of each.
func seedFrom(f *testing.F, ext ...string) {
	for _, dir := range []string{"recordings", "real/fit", "real/gpx", "real/csv-phone/*", "real/tcx", "rounds/*"} {
		paths, _ := filepath.Glob(filepath.Join(shared, dir, "*"))
		for _, path := range paths {
			for _, e := range ext {
				if filepath.Ext(path) != e {
					continue
				}
				if data, err := os.ReadFile(path); err == nil && len(data) < 8<<10 {
					spoilt(f, data)
				} else if err == nil && e == ".csv" {
					spoilt(f, data[:4<<10])
				}
			}
		}
	}
}

// spoilt adds a file, whole, cut, with a bit flipped, and merged with itself.
func spoilt(f *testing.F, data []byte) {
	f.Add(data)
	f.Add(data[:len(data)/2])
	flipped := bytes.Clone(data)
	if len(flipped) > 0 {
		flipped[len(flipped)/3] ^= 0x20
	}
	f.Add(flipped)
	f.Add(append(bytes.Clone(data), data...))
}

func FuzzGPX(f *testing.F) {
	spoilt(f, watch(nineTwelve, 4, time.RFC3339).Data)
	spoilt(f, longGPX(3))
	f.Add([]byte(gpxFile(`<wpt lat="1" lon="2"><time>2026-06-03T09:12:00Z</time></wpt><rte><rtept lat="1" lon="2"/></rte>`)))
	seedFrom(f, ".gpx")
	f.Fuzz(func(t *testing.T, data []byte) { harmless(t, Input{Name: "a", Data: data}) })
}

func FuzzTCX(f *testing.F) {
	spoilt(f, []byte(tcxText))
	f.Fuzz(func(t *testing.T, data []byte) { harmless(t, Input{Name: "a", Data: data}) })
}

func FuzzFIT(f *testing.F) {
	spoilt(f, fitFile(f, fitRecord(0), fitRecord(1), fitRecord(2)))
	spoilt(f, fitRide(f))
	seedFrom(f, ".fit")
	f.Fuzz(func(t *testing.T, data []byte) { harmless(t, Input{Name: "a", Data: data}) })
}

func FuzzCSV(f *testing.F) {
	spoilt(f, []byte(rows(20, nil)))
	for _, head := range []string{"Time;Acceleration x (m/s^2);Acceleration y (m/s^2);Acceleration z (m/s^2)\n2026-05-02T15:08:45.001Z;3,1;9,6;-0,3\n2026-05-02T15:08:45.010Z;3,5;9,2;-0,7\n",
		"time,seconds_elapsed,z,y,x\n1775393479399979008,7.39,-7.2,5.9,-3.7\n1775393479419344384,7.41,-6.9,5.8,-3.7\n",
		"samples,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z\n0,0.9,-0.1,-0.1,7,0.1,-1\n1,0.9,-0.1,-0.1,7,0.1,-1\n",
		"1,0,0,9.8\n2,0,0,9.8\n3,0,0,9.8\n", "time,lat,lon,alt,speed (km/h)\n1780477920,51.4,-2.3,12,18\n1780477921,51.4,-2.3,12,18\n",
		"# device: x\nTime,Acc X,Acc Y,Acc Z\n(ms),(g),(g),(g)\n0,0,0,1\n10,0,0,1\n", "time,ax,ay,az,lat,lon\n0,0,0,1,51,2\n0.1,0,0,1,51,2\n0.2,0,0,1,52,2\n"} {
		spoilt(f, []byte(head))
	}
	seedFrom(f, ".csv")
	f.Fuzz(func(t *testing.T, data []byte) { harmless(t, Input{Name: "Gyroscope.csv", Data: data}) })
}

func FuzzArchive(f *testing.F) {
	t := &testing.T{}
	spoilt(f, gzipped(t, watch(nineTwelve, 3, time.RFC3339).Data))
	spoilt(f, gzipped(t, []byte(rows(20, nil))))
	spoilt(f, zipped(t, map[string][]byte{"a.csv": []byte(rows(20, nil)), "b.gpx": watch(nineTwelve, 3, time.RFC3339).Data, "c": gzipped(t, []byte("x"))}))
	f.Fuzz(func(t *testing.T, data []byte) { harmless(t, Input{Name: "a", Data: data}) })
}

// Two files of which each may be anything, with columns named by hand.
func FuzzJoin(f *testing.F) {
	f.Add(watch(nineTwelve, 4, time.RFC3339).Data, []byte(rows(20, nil)), "")
	f.Add(watch(nineTwelve, 4, "2006-01-02T15:04:05").Data, []byte(rows(20, nil)), "t=#1,ax=#2,ay=#3,az=#4/g")
	f.Add([]byte("time,lat,lon\n1,51,2\n2,51,2\n"), []byte("time,z (rad/s),y (rad/s),x (rad/s)\n1,0,0,1\n1.1,0,0,1\n"), "t=time@100,ax=x,ay=y,az=z")
	f.Add([]byte(rows(20, nil)), []byte(rows(30, nil)), "")
	f.Fuzz(func(t *testing.T, a, b []byte, columns string) {
		harmless(t, Input{Name: "a", Data: a}, Input{Name: "b", Data: b})
		opt := tight()
		opt.Columns = columns
		if rec, err := OpenBytes(context.Background(), []Input{{Name: "a", Data: a}, {Name: "b", Data: b}}, opt); err == nil {
			sound(t, rec)
		}
	})
}
