package read

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// said is a sentence with its checksum.
func said(body string) string {
	sum := byte(0)
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

// The sentences that textbooks show, with their checksums as printed there (from memory): 48°07.038' N, 11°31.000' E, 22.4
// knots, 545.4 m, 1994-03-23 12:35:19 UTC.
const (
	textbookRMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"
	textbookGGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
)

func TestNMEA(t *testing.T) {
	data := textbookGGA + textbookRMC + said("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1") +
		"12:35:19 " + said("GNGGA,123519.10,4807.039,N,01131.000,E,4,08,0.9,545.6,M,46.9,M,,") + said("GNRMC,123519.10,A,4807.039,N,01131.000,E,022.4,084.4,230394,003.1,W") +
		said("GNRMC,123519.20,V,,,,,,,230394,,") + // no fix
		"$GNRMC,123519.30,A,4807.040,N,01131.000,E,022.4,084.4,230394,003.1,W*00\r\n" + // a wrong checksum
		said("GNRMC,123519.40,A,4807.041,S,01131.000,W,,,230394,,")
	rec, sums := open(t, Input{Name: "log.txt", Data: []byte(data)})
	require.Equal(t, "NMEA 0183", sums[0].Format)
	require.Equal(t, time.Date(1994, 3, 23, 12, 35, 19, 0, time.UTC), rec.Start)
	p := rec.Positions
	require.InDeltaSlice(t, []float64{0, 0.1, 0.4}, p.TimeS, 1e-9)
	require.InDeltaSlice(t, []float64{48.1173, 48 + 7.039/60, -48 - 7.041/60}, p.LatDeg, 1e-9)
	require.InDeltaSlice(t, []float64{11 + 31.0/60, 11 + 31.0/60, -11 - 31.0/60}, p.LonDeg, 1e-9)
	require.Equal(t, 1, sums[0].Unreadable)
	require.Equal(t, Kind{Format: "NMEA", Brings: Brings{Positions: true}}, kindOf(t, data))
}

func kindOf(t *testing.T, data string) Kind {
	t.Helper()
	return (&task{ctx: context.Background()}).kind("x", strings.NewReader(data))
}

// With heights and speeds throughout, both are read.
func TestNMEAHeightAndSpeed(t *testing.T) {
	var b strings.Builder
	for i := range 20 {
		clock := fmt.Sprintf("0912%02d.00", i)
		b.WriteString(said("GPRMC,"+clock+",A,5124.0000,N,00218.0000,W,10.0,0.0,030626,,,A") + said("GPGGA,"+clock+",5124.0000,N,00218.0000,W,1,08,0.9,80.5,M,46.9,M,,"))
	}
	rec, _ := open(t, Input{Name: "a", Data: []byte(b.String())})
	require.InDelta(t, 5.1444, rec.Positions.SpeedMS[3], 1e-4) // 10 knots
	require.InDelta(t, 80.5, rec.Positions.HeightM[3], 1e-9)
	require.InDelta(t, -2.3, rec.Positions.LonDeg[0], 1e-9)
	require.InDelta(t, 1, rec.Positions.RateHz, 1e-9)
}

func TestNMEAFaults(t *testing.T) {
	for name, data := range map[string]string{
		"no fix":     strings.Repeat(said("GPRMC,123519,V,,,,,,,230394,,"), 3),
		"no date":    strings.Repeat(said("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,,003.1,W"), 3),
		"odd places": strings.Repeat(said("GPRMC,123519,A,9907.038,N,01175.000,E,022.4,084.4,230394,003.1,W"), 3),
		"one":        textbookRMC,
	} {
		_, err := OpenBytes(context.Background(), []Input{{Name: "a", Data: []byte(data)}}, Options{})
		requireFault(t, err, "expected a track of at least 2 points")
		_ = name
	}
}

// A table is not taken for sentences, nor sentences for a table, and no sentence ends the reading.
func TestNMEAOrNot(t *testing.T) {
	require.False(t, isNMEA([]byte(rows(20, nil))))
	require.False(t, isNMEA([]byte("price,$5*00\n")))
	require.True(t, isNMEA([]byte("# a log\n"+textbookRMC)))
	rapid.Check(t, func(t *rapid.T) {
		fields := rapid.SliceOfN(rapid.SampledFrom([]string{"", "A", "V", "N", "E", "123519", "230394", "4807.038", "01131.000", "-1", "nan", "999999", "xx"}), 0, 14).Draw(t, "fields")
		_, _ = OpenBytes(context.Background(), []Input{{Name: "a", Data: []byte(textbookRMC + said("GPRMC,"+strings.Join(fields, ",")) + said("GPGGA,"+strings.Join(fields, ",")))}}, Options{})
	})
}
